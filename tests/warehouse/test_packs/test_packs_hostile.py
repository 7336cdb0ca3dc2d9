"""Packs that would do harm: each kind is refused whole, by one sentence that names the file, the row and the field."""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import re
import stat
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from cogledger.schema.errors import DocumentError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.packs import TABLES, PackSettings, open_pack
from PIL import Image

Change = Callable[[dict[str, Any]], object]


def refusal(path: Path, settings: PackSettings | None = None) -> str:
    """The sentence by which a pack is refused."""
    with pytest.raises(DocumentError) as refused, open_pack(path, settings) as pack:
        pack.check()
    assert refused.value.fault.reason is Reason.BAD_PACK
    assert str(refused.value).startswith(str(path))
    assert "\n" not in str(refused.value) and "\x1b" not in str(refused.value)
    return str(refused.value)


def describe_again(path: Path) -> None:
    """Give every resource the size and hash of its file, as one who forges a pack would."""
    told = json.loads((path / "datapackage.json").read_text("utf-8"))
    for resource in told["resources"]:
        data = (path / resource["path"]).read_bytes()
        resource |= {"bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}
    (path / "datapackage.json").write_text(json.dumps(told), "utf-8")


def change_table(path: Path, name: str, change: Callable[[pa.Table], pa.Table]) -> None:
    file = path / f"{name}.parquet"
    pq.write_table(change(pq.read_table(file).cast(TABLES[name].arrow)), file, store_schema=False)
    describe_again(path)


def change_cell(path: Path, name: str, row: int, column: str, value: Any) -> None:
    def put(table: pa.Table) -> pa.Table:
        cells = table.column(column).to_pylist()
        cells[row] = value
        kind = table.schema.field(column).type
        return table.set_column(table.schema.get_field_index(column), column, pa.array(cells, kind))

    change_table(path, name, put)


def change_descriptor(path: Path, change: Change) -> None:
    told = json.loads((path / "datapackage.json").read_text("utf-8"))
    change(told)
    (path / "datapackage.json").write_text(json.dumps(told), "utf-8")


CELLS: list[tuple[str, str, Any, str]] = [
    ("claims", "low", float("nan"), "finite"),
    ("claims", "high", float("inf"), "finite"),
    ("claims", "high", 1e12, "above"),
    ("claims", "values", [11.0, float("nan")], "finite"),
    ("claims", "values", [11.0, None], "finite"),
    ("claims", "values", [1.0] * 65, "longer than 64"),
    ("claims", "bbox", [0.0, 0.0, float("-inf"), 1.0], "finite"),
    ("claims", "confidence", None, "missing"),
    ("claims", "snippet", None, "missing"),
    ("claims", "snippet", "x" * 2001, "longer than 2,000"),
    ("claims", "snippet", "x" * 1_000_000, "longer than 2,000"),
    ("claims", "part_code", "ZQ\x00500", "cannot be seen"),
    ("claims", "snippet", "two\nlines", "cannot be seen"),
    ("claims", "snippet", "\x1b[2Jgone", "cannot be seen"),
    ("claims", "part_code", "ZQ\u202e005", "cannot be seen"),
    ("claims", "variant", "\u2066L\u2069", "cannot be seen"),
    ("claims", "snippet", "37T<script>alert(1)</script>", "markup"),
    ("claims", "maker", "<img src=x onerror=alert(1)>", "markup"),
    ("claims", "maker", "</td>", "markup"),
    ("claims", "text", "JavaScript:alert(1)", "script"),
    ("claims", "text", "data:text/html,hi", "script"),
    ("claims", "snippet", "=cmd|'/C calc'!A0", "formula"),
    ("claims", "snippet", "=1+1", "formula"),
    ("claims", "snippet", "@SUM(1+1)", "formula"),
    ("claims", "snippet", "-2+3+cmd|' /C calc'!A0", "formula"),
    ("claims", "snippet", "+HYPERLINK(A1)", "formula"),
    ("claims", "snippet", " \uff1dA1", "formula"),
    ("claims", "claim_id", "xyz", "not of the form"),
    ("claims", "claim_id", "0123456789ABCDEF", "not of the form"),
    ("claims", "claim_id", "0123456789abcdef", "is not the id of what this claim says"),
    ("claims", "sha256", "0" * 63, "not of the form"),
    ("claims", "sha256", "0" * 64, "order|not among"),
    ("claims", "high", 38.0, "is not the id of what this claim says"),
    ("claims", "page", 2, "is not the id of what this claim says"),
    ("claims", "part_code", "ZQ501", "is not the id of what this claim says"),
    ("claims", "position", 7, "order"),
    ("claims", "position", 1, "twice"),
    ("claims", "position", -1, "below 0"),
    ("claims", "condition", "[]", "no JSON object"),
    ("claims", "condition", "{", "no JSON object"),
    ("claims", "condition", '{"ring_count": NaN}', "no JSON object"),
    ("claims", "condition", '{"ring_count": 2, "ring_count": 3}', "no JSON object"),
    ("claims", "condition", '{"ring_count": "\\u003cscript"}', "no JSON object"),
    ("claims", "condition", '{"ring_count": {"low": 2}}', "no JSON object"),
    ("documents", "name", "../../etc/passwd", "not of the form"),
    ("documents", "name", "C:\\manual.pdf", "not of the form"),
    ("documents", "name", "", "empty"),
    ("documents", "kind", "exe", "none of pdf, image"),
    ("documents", "extension", "/../x", "not of the form"),
    ("documents", "size", -1, "below 0"),
    ("documents", "read_at", datetime(9999, 1, 1), "future"),
    ("documents", "dated", datetime(1, 1, 1), "before 1900"),
    ("documents", "reader", None, "missing"),
    ("documents", "sha256", "f" * 64, "order"),
    ("words", "verdict", "held_back", "none of confirmed, corrected, rejected"),
    ("words", "judged_at", datetime(2999, 1, 1), "future"),
    ("words", "judgement_id", "x", "not of the form"),
    ("words", "judged_by", "<b>Ida", "markup"),
    ("words", "claim_id", "0123456789abcdef", "is not the id of what the snapshot says"),
    ("words", "sha256", "0" * 64, "not among"),
    ("words", "snapshot", "{}", "is not the id"),
    ("words", "snapshot", "37", "no record of a claim"),
    ("words", "snapshot", '{"limit": "weight", "shell": "rm"}', "no record of a claim"),
    ("words", "snapshot", '{"low": NaN}', "no JSON"),
    ("words", "snapshot", "[" * 9000, "no JSON"),
    ("words", "snapshot", '{"maker": "\\u003cscript>"}', "markup"),
    ("words", "snapshot", '{"values": [[1]]}', "nested"),
    ("words", "snapshot", '{"low": 1e30}', "too large"),
    ("words", "correction", "{}", "no claim record"),
    ("words", "correction", None, "only a claim that was corrected"),
    ("words", "verdict", "rejected", "only a claim that was corrected"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "column", "value", "told"), CELLS, ids=lambda value: str(value)[:30])
def test_a_cell_that_no_pack_may_hold(
    rows: Any, pack_of: Callable[..., Path], table: str, column: str, value: Any, told: str
) -> None:
    path = pack_of(rows)
    change_cell(path, table, 0, column, value)
    sentence = refusal(path)
    assert re.search(told, sentence), sentence
    assert f"{table}.parquet, row " in sentence


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"high": 5000.0}, None), ({"limit": "colour"}, "unknown limit"), ({"high": None}, "wrong form"),
        ({"high": 37.5}, "not whole"), ({"part_kind": "fork"}, "unknown kind"), ({"part_code": None}, "missing field"),
        ({"page": "two"}, "wrong field type"), ({"bbox": [3, 2, 1, 0]}, "bad box"),
    ],
)  # fmt: skip
def test_a_correction_is_a_sound_claim_but_for_what_is_printed_so(
    rows: Any, pack_of: Callable[..., Path], claim_like: Any, change: dict[str, Any], told: str | None
) -> None:
    path = pack_of(rows)
    at = sorted(rows.words, key=lambda word: word["judgement_id"]).index(rows.words[1])
    change_cell(path, "words", at, "correction", json.dumps(claim_like().as_json() | change))
    if told is None:
        with open_pack(path) as pack:
            assert pack.check().words == 2
    else:
        sentence = refusal(path)
        assert told in sentence and f"row {at + 1}, correction" in sentence


def test_a_duplicate_claim_id_is_refused(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows)

    def twice(table: pa.Table) -> pa.Table:
        same = table.slice(0, 1).set_column(2, "position", pa.array([99], pa.int32()))
        sha = same["sha256"][0].as_py()
        own = sum(1 for value in table["sha256"].to_pylist() if value == sha)
        return pa.concat_tables([table.slice(0, own), same, table.slice(own)])

    change_table(path, "claims", twice)
    assert "is there twice" in refusal(path)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda t: t.drop_columns(["low"]), "the column low is missing"),
        (lambda t: t.append_column("more", pa.array([1] * t.num_rows)), 'no column "more"'),
        (lambda t: t.select([*t.column_names[1:], t.column_names[0]]), "another order"),
        (lambda t: t.rename_columns(["id", *t.column_names[1:]]), "the column claim_id is missing"),
        (lambda t: t.set_column(10, "low", t["low"].cast(pa.string())), "low: the column has the type string"),
        (lambda t: t.set_column(10, "low", t["low"].cast(pa.float32())), "low: the column has the type float"),
        (lambda t: t.set_column(2, "position", t["position"].cast(pa.int64())), "position: the column has"),
        (lambda t: t.set_column(3, "page", t["page"].cast(pa.int64())), "the column has the type int64, not int32"),
        (lambda t: t.set_column(5, "maker", t["maker"].cast(pa.binary())), "maker: the column has the type binary"),
        (lambda t: t.set_column(12, "values", t["low"]), "values: the column has the type double"),
    ],
)  # fmt: skip
def test_parquet_of_other_columns_or_types(
    rows: Any, pack_of: Callable[..., Path], change: Callable[[pa.Table], pa.Table], told: str
) -> None:
    path = pack_of(rows)
    change_table(path, "claims", change)
    assert told in refusal(path)


CSV: list[tuple[str, Callable[[list[str]], list[str]], str]] = [
    ("wrong head", lambda lines: [lines[0].replace("sha256", "sha"), *lines[1:]], "sha256 is missing"),
    ("no head", lambda lines: lines[1:], "is missing"),
    ("nothing", lambda lines: [], "damaged"),
    ("cell missing", lambda lines: [lines[0], lines[1].rpartition(",")[0], *lines[2:]], "row 1: the row has 9"),
    ("cell too many", lambda lines: [lines[0], lines[1] + ",1", *lines[2:]], "row 1: the row has 11"),
    ("text for number", lambda lines: [lines[0], lines[1].replace("1234", "many"), *lines[2:]], "is no integer"),
    ("fraction for integer", lambda lines: [lines[0], lines[1].replace("1234", "12.5"), *lines[2:]], "is no integer"),
    ("beyond integers", lambda lines: [lines[0], lines[1].replace("1234", "9" * 30), *lines[2:]], "is no integer"),
    ("no time", lambda lines: [lines[0], lines[1].replace("2025-05-04T12", "2025-13-04T12"), *lines[2:]], "datetime"),
    ("other time", lambda lines: [lines[0], lines[1].replace("2025-05-04T12", "4 May, 12"), *lines[2:]], "."),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "change", "told"), CSV, ids=[row[0] for row in CSV])
def test_csv_of_other_columns_or_types(
    rows: Any, pack_of: Callable[..., Path], kind: str, change: Callable[[list[str]], list[str]], told: str
) -> None:
    path = pack_of(rows, csv=True)
    file = path / "documents.csv"
    file.write_text("\n".join(change(file.read_text("utf-8").splitlines())), "utf-8")
    describe_again(path)
    sentence = refusal(path)
    assert told in sentence and "documents.csv" in sentence


@pytest.mark.parametrize("value", ["nan", "inf", "-Infinity", "1e999", "0x10", "1_000"])
def test_csv_numbers_are_finite_and_plain(rows: Any, pack_of: Callable[..., Path], value: str) -> None:
    path = pack_of(rows, csv=True)
    file = path / "claims.csv"
    assert ",37," in file.read_text("utf-8")
    file.write_text(file.read_text("utf-8").replace(",37,", f",{value},", 1), "utf-8")
    describe_again(path)
    assert "high" in refusal(path)


@pytest.mark.parametrize("value", ['[1, "2"]', "[1", "{}", "[[1]]", "[true]", "[NaN]", "[" * 2000])
def test_csv_lists_are_numbers(rows: Any, pack_of: Callable[..., Path], value: str) -> None:
    path = pack_of(rows, csv=True)
    file = path / "claims.csv"
    quoted = value.replace('"', '""')
    assert "[11, 13, 15]" in file.read_text("utf-8")
    file.write_text(file.read_text("utf-8").replace("[11, 13, 15]", quoted), "utf-8")
    describe_again(path)
    assert "values" in refusal(path)


def rename(told: dict[str, Any], path: Any) -> None:
    told["resources"][0]["path"] = path


DESCRIPTORS: list[tuple[Change, str]] = [
    (lambda t: rename(t, "../documents.parquet"), "leads outside"),
    (lambda t: rename(t, "a/../../documents.parquet"), "leads outside"),
    (lambda t: rename(t, "/etc/passwd"), "is absolute"),
    (lambda t: rename(t, "\\\\host\\x"), "is absolute"),
    (lambda t: rename(t, "C:documents.parquet"), "is absolute"),
    (lambda t: rename(t, "C:\\documents.parquet"), "is absolute"),
    (lambda t: rename(t, "https://example.org/documents.parquet"), "is an address"),
    (lambda t: rename(t, "file:///etc/passwd"), "is an address"),
    (lambda t: rename(t, "documents.parquet\x00.png"), "is not made of plain"),
    (lambda t: rename(t, ".hidden"), "is not made of plain"),
    (lambda t: rename(t, "nul.parquet"), "no name of a file on every system"),
    (lambda t: rename(t, "claims.parquet"), "instead of documents.parquet"),
    (lambda t: rename(t, ["documents.parquet"]), "no path of one file"),
    (lambda t: rename(t, None), "no path of one file"),
    (lambda t: t["resources"][0].update(name="programs"), "is unknown"),
    (lambda t: t["resources"].append(t["resources"][0]), "named twice"),
    (lambda t: t["resources"].pop(), "words is missing"),
    (lambda t: t["resources"][0].pop("hash"), "no hash"),
    (lambda t: t["resources"][0].update(hash="md5:" + "0" * 32), "no hash"),
    (lambda t: t["resources"][0].update(hash="sha256:" + "0" * 64), "the hash differs"),
    (lambda t: t["resources"][0].update(bytes=1), "bytes and not 1"),
    (lambda t: t["resources"][0].update(bytes=-1), "does not say its size"),
    (lambda t: t["resources"][0].update(bytes=True), "does not say its size"),
    (lambda t: t["resources"][0].update(bytes=10**30), "larger than"),
    (lambda t: t["resources"][0].update(format="csv"), "another format"),
    (lambda t: t["resources"][0]["schema"]["fields"].pop(), "describes the field origin otherwise"),
    (lambda t: t["resources"][0]["schema"]["fields"][4].update(type="string"), "describes the field size otherwise"),
    (lambda t: t["resources"][0]["schema"].update(missingValues=["0"]), "another schema"),
    (lambda t: t.update(resources={}), "resources is no list"),
    (lambda t: t.update(resources=[3]), "has no name"),
    (lambda t: t.pop("cogledger"), "no data package of cogledger"),
    (lambda t: t["cogledger"].update(format=2), "needs a newer cogledger"),
    (lambda t: t["cogledger"].update(format="1"), "format is missing"),
    (lambda t: t.update(licenses=[]), "does not name a licence"),
    (lambda t: t.update(contributors=[{}]), "who shares the pack"),
    (lambda t: t["contributors"][0].update(title="<script>"), "shared_by holds markup"),
    (lambda t: t["contributors"][0].update(title="\u202eada"), "shared_by holds signs"),
    (lambda t: t.update(title="x" * 300), "title is longer"),
    (lambda t: t.update(created="yesterday"), "created is no time"),
]


@pytest.mark.parametrize(("change", "told"), DESCRIPTORS, ids=[row[1] for row in DESCRIPTORS])
def test_a_descriptor_that_lies(rows: Any, pack_of: Callable[..., Path], change: Change, told: str) -> None:
    path = pack_of(rows)
    change_descriptor(path, change)
    sentence = refusal(path)
    assert (told in sentence and "parquet" in sentence) or "datapackage.json" in sentence


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "no JSON"), (b"[]", "no JSON object"), (b"3", "no JSON object"), (b"{", "no JSON"),
        (b"\xff\xfe{", "not UTF-8"),
        (b'{"a": NaN}', "NaN"), (b'{"a": 1, "a": 2}', "given twice"), (b'{"a":' * 100_000, "too deep"),
        (b'{"a":' + b"[" * 40 + b"]" * 40 + b"}", "deeper than 12"), (b'{"a": 1e999}', "too large"),
        (b'{"a": ' + b"9" * 5000 + b"}", "no JSON"), (b" " * (17 << 20), "larger than"),
    ],
    ids=lambda value: str(value)[:20],
)  # fmt: skip
def test_a_descriptor_that_is_none(rows: Any, pack_of: Callable[..., Path], data: bytes, told: str) -> None:
    path = pack_of(rows)
    (path / "datapackage.json").write_bytes(data)
    assert told in refusal(path)


@pytest.mark.parametrize("name", ["extra.exe", "inner.zip", "Claims.parquet", "evidence/../x", "evidence/a b.png"])
def test_files_that_nothing_names(rows: Any, pack_of: Callable[..., Path], name: str) -> None:
    path = pack_of(rows)
    (path / "evidence").mkdir()
    (path / name).write_bytes(b"PK")
    assert refusal(path)
    packed = zip_of(path)
    assert refusal(packed)


def test_a_missing_file_and_no_pack_at_all(rows: Any, pack_of: Callable[..., Path], tmp_path: Path) -> None:
    path = pack_of(rows)
    (path / "words.parquet").unlink()
    assert "words.parquet: the file is missing" in refusal(path)
    (path / "datapackage.json").unlink()
    assert "there is no datapackage.json" in refusal(path)
    (tmp_path / "x.zip").write_bytes(b"nothing")
    assert "neither a folder nor a zip" in refusal(tmp_path / "x.zip")
    with pytest.raises(DocumentError) as refused:
        open_pack(tmp_path / "nowhere")
    assert refused.value.fault.reason is Reason.NOT_FOUND


def test_what_systems_leave_in_folders_is_no_harm(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows)
    (path / ".DS_Store").write_bytes(b"x")
    with open_pack(path) as pack:
        assert pack.check().documents == 2


def test_links_are_refused(rows: Any, pack_of: Callable[..., Path], tmp_path: Path) -> None:
    path = pack_of(rows)
    (path / "words.parquet").rename(tmp_path / "elsewhere")
    (path / "words.parquet").symlink_to(tmp_path / "elsewhere")
    assert "is a link" in refusal(path)
    path = pack_of(rows, "other")
    (path / "evidence").symlink_to(tmp_path)
    assert "is a link" in refusal(path)
    path = pack_of(rows, "pipe")
    os.mkfifo(path / "evidence")
    assert "no plain file" in refusal(path)


def zip_of(folder: Path, **more: bytes) -> Path:
    out = folder.with_suffix(".forged.zip")
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(folder.rglob("*")):
            if file.is_file():
                archive.write(file, file.relative_to(folder).as_posix())
    return out


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("../evil.txt", "leads outside"), ("a/../../evil.txt", "leads outside"), ("/etc/cron.d/evil", "is absolute"),
        ("\\evil.txt", "is absolute"), ("C:/evil.txt", "is absolute"), ("..\\evil.txt", "leads outside"),
        ("http://example.org/x", "is an address"), ("claims.parquet", "is there twice"),
        ("CLAIMS.parquet", "differ in capitals only"), ("evil.txt", "does not name this file"),
        ("pack.zip", "does not name this file"), ("x\x1b[2J", "is not made of plain"),
        ("a" * 300, "is not made of plain"),
    ],
)  # fmt: skip
def test_names_in_a_zip(rows: Any, pack_of: Callable[..., Path], tmp_path: Path, name: str, told: str) -> None:
    path = pack_of(rows, "p.zip")
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(zipfile.ZipInfo(name), "evil")
    before = set(tmp_path.rglob("*"))
    assert told in refusal(path)
    assert set(tmp_path.rglob("*")) == before


def test_a_link_in_a_zip(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows, "p.zip")
    entry = zipfile.ZipInfo("evidence")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(entry, "/etc/passwd")
    assert "is a link" in refusal(path)


def test_an_encrypted_zip(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows, "p.zip")
    data = bytearray(path.read_bytes())
    at = data.find(b"PK\x01\x02")
    data[at + 8] |= 1
    path.write_bytes(data)
    assert "encrypted" in refusal(path)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_zip_packed_otherwise(rows: Any, pack_of: Callable[..., Path], method: int) -> None:
    path = pack_of(rows)
    out = path.with_suffix(".zip")
    with zipfile.ZipFile(out, "w", method) as archive:
        for file in path.iterdir():
            archive.write(file, file.name)
    assert "deflate and store" in refusal(out)


def test_a_zip_that_unpacks_to_far_more(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows)
    with (path / "words.parquet").open("ab") as file:
        file.write(b"\0" * (40 << 20))
    describe_again(path)
    assert "as a zip bomb" in refusal(zip_of(path))
    assert "larger than" in refusal(zip_of(path), PackSettings(most_bytes=1 << 20, most_ratio=10**9))


def test_a_zip_whose_head_lies_about_sizes(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows)
    with (path / "words.parquet").open("ab") as file:
        file.write(b"\0" * (4 << 20))
    packed = zip_of(path)
    data = bytearray(packed.read_bytes())
    at = data.find(b"PK\x01\x02", data.rfind(b"PK\x01\x02"))
    data[at + 24 : at + 28] = (1000).to_bytes(4, "little")
    packed.write_bytes(data)
    assert "zip is damaged" in refusal(packed)


def test_entries_that_lie_over_each_other(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows, "p.zip")
    data = bytearray(path.read_bytes())
    size = len(data)
    at = 0
    while (at := data.find(b"PK\x01\x02", at)) >= 0:
        data[at + 20 : at + 24] = (size - 50).to_bytes(4, "little")
        at += 4
    path.write_bytes(data)
    assert "over each other" in refusal(path)


def test_a_zip_of_too_many_files(rows: Any, pack_of: Callable[..., Path]) -> None:
    path = pack_of(rows, "p.zip")
    with zipfile.ZipFile(path, "a") as archive:
        for number in range(40):
            archive.writestr(f"f{number}", "")
    assert "more than 20 files" in refusal(path, PackSettings(most_entries=20))
    data = bytearray(path.read_bytes())
    at = data.rfind(b"PK\x05\x06")
    data[at + 12 : at + 16] = (1 << 31).to_bytes(4, "little")
    path.write_bytes(data)
    assert "more than 20,100 files" in refusal(path)


def test_too_many_rows(rows: Any, pack_of: Callable[..., Path]) -> None:
    for csv in (False, True):
        assert "more than 3 rows" in refusal(pack_of(rows, f"p{csv}", csv), PackSettings(most_claims=3))


def test_one_long_text_said_a_million_times_is_not_spelled_out(rows: Any, pack_of: Callable[..., Path]) -> None:
    """A Parquet file of a few kilobytes that would fill 50 GB: refused by the length of the one text in it."""
    path = pack_of(rows)
    count = 1_000_000
    plain = pq.read_table(path / "claims.parquet").slice(0, 1)
    text = pa.DictionaryArray.from_arrays(pa.array([0] * count, pa.int32()), pa.array(["x" * 50_000]))
    columns = []
    for name in plain.column_names:
        one = plain[name].combine_chunks()
        if name == "snippet":
            columns.append(text)
        elif pa.types.is_list(one.type):
            columns.append(pa.nulls(count, one.type))
        else:
            columns.append(pa.repeat(one[0], count) if one[0].is_valid else pa.nulls(count, one.type))
    table = pa.table(columns, names=plain.column_names)
    pq.write_table(table, path / "claims.parquet", store_schema=False)
    assert (path / "claims.parquet").stat().st_size < 3_000_000
    describe_again(path)
    before = pa.total_allocated_bytes()
    assert "snippet" in refusal(path)
    assert pa.default_memory_pool().max_memory() - before < 2 << 30


def bad_picture(kind: str, png: bytes) -> bytes:
    if kind == "no png":
        return b"<svg onload=alert(1)>"
    if kind == "cut":
        return png[: len(png) // 2]
    if kind == "jpeg":
        out = io.BytesIO()
        Image.new("RGB", (9, 9)).save(out, "JPEG")
        return out.getvalue()
    if kind == "large":
        out = io.BytesIO()
        Image.new("1", (30_000, 30_000)).save(out, "PNG")
        return out.getvalue()
    return png + b"\0" * (9 << 20)


@pytest.mark.parametrize("kind", ["no png", "cut", "jpeg", "large", "heavy"])
def test_pictures_that_are_none(rows: Any, pack_of: Callable[..., Path], png: bytes, kind: str) -> None:
    claim_id = rows.claims[0]["claim_id"]
    path = pack_of(rows, pictures=[(claim_id, png)])
    (path / "evidence" / f"{claim_id}.png").write_bytes(bad_picture(kind, png))
    describe_again(path)
    assert "picture" in refusal(path)


def test_a_picture_of_no_claim(rows: Any, pack_of: Callable[..., Path], png: bytes) -> None:
    claim_id = rows.claims[0]["claim_id"]
    path = pack_of(rows, pictures=[(claim_id, png)])
    (path / "evidence" / f"{claim_id}.png").rename(path / "evidence" / f"{'0' * 16}.png")

    def rename_it(told: dict[str, Any]) -> None:
        told["resources"][-1] |= {"name": f"evidence-{'0' * 16}", "path": f"evidence/{'0' * 16}.png"}

    change_descriptor(path, rename_it)
    assert "no claim of the pack has this id" in refusal(path)


def contents(path: Path) -> list[Any]:
    with open_pack(path) as pack:
        told = [row for batch in pack.documents() for row in batch.to_pylist()]
        told += [row for batch in pack.claims() for row in batch.rows.to_pylist()]
        told += [row for batch in pack.words() for row in batch.to_pylist()]
        pack.check()
        return [told, pack.about]


def harm(data: bytes, chance: random.Random) -> bytes:
    """Cut short, a few bytes changed, or a piece taken out."""
    kind = chance.randrange(3)
    at = chance.randrange(len(data))
    if kind == 0:
        return data[:at]
    if kind == 1:
        return data[:at] + data[at + chance.randrange(1, 40) :]
    harmed = bytearray(data)
    for _ in range(chance.randrange(1, 6)):
        harmed[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    return bytes(harmed)


@pytest.mark.parametrize("csv", [False, True])
def test_a_damaged_zip_is_refused_or_says_the_same(rows: Any, pack_of: Callable[..., Path], csv: bool) -> None:
    path = pack_of(rows, "p.zip", csv)
    good, whole, chance = contents(path), path.read_bytes(), random.Random(5)
    refused = 0
    for _ in range(150):
        path.write_bytes(harm(whole, chance))
        try:
            assert contents(path)[0] == good[0]
        except DocumentError as error:
            assert error.fault.reason is Reason.BAD_PACK, error
            refused += 1
    assert refused > 75


@pytest.mark.parametrize("name", ["documents", "claims", "words", "datapackage"])
@pytest.mark.parametrize("csv", [False, True])
def test_damage_that_the_hash_does_not_show_ends_in_no_traceback(
    rows: Any, pack_of: Callable[..., Path], name: str, csv: bool
) -> None:
    """The forger gives the hash of what he changed: then it is refused for what it holds, or holds what packs may."""
    path = pack_of(rows, csv=csv)
    file = path / (f"{name}.csv" if csv else f"{name}.parquet")
    if name == "datapackage":
        file = path / "datapackage.json"
    whole, about, chance = file.read_bytes(), (path / "datapackage.json").read_bytes(), random.Random(6)
    refused = 0
    for _ in range(60):
        (path / "datapackage.json").write_bytes(about)
        file.write_bytes(harm(whole, chance))
        if name != "datapackage":
            describe_again(path)
        try:
            contents(path)
        except DocumentError as error:
            assert error.fault.reason is Reason.BAD_PACK, error
            refused += 1
    assert refused > 20
