"""Sharing a store and merging a pack into one: what travels, who said it, what stays, and all or nothing."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from cogledger.schema.claims import Claim, State
from cogledger.schema.errors import CallError, DocumentError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.schema.validation import validate_records
from cogledger.warehouse import merge as merging
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.judge import Correction, confirm_claim, correct_claim, reject_claim
from cogledger.warehouse.merge import merge_pack
from cogledger.warehouse.packs import PackAbout, open_pack
from cogledger.warehouse.register import tell_claims
from cogledger.warehouse.search import list_limits
from cogledger.warehouse.share import share_pack
from PIL import Image

TABLES = ("documents", "claims", "judgements", "limits", "parts", "failed_pages", "document_paths", "disorder")
ADA = PackAbout("Ada", "CC-BY-4.0")


def everything(store: FolderStore) -> dict[str, list[str]]:
    with store.reading() as connection:
        return {name: sorted(map(repr, connection.execute(f"from kept.{name}").fetchall())) for name in TABLES}


def claims_of(store: FolderStore) -> list[Any]:
    with store.reading() as connection:
        return tell_claims(connection)


@pytest.fixture
def other(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "other")


@pytest.fixture
def shared(store: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path) -> Path:
    """A pack of a store with two documents and a word of each kind."""
    keep(claim(high=37.0), claim(variant="L", high=41.0), claim("QK7", high=33.0))
    keep(claim(high=37.0), name="second.pdf")
    told = {(t.record["document"], t.record["part_code"], t.record["variant"]): t.claim_id for t in claims_of(store)}
    confirm_claim(store, told["zq.pdf", "ZQ500", None], by="Ida")
    correct_claim(store, told["zq.pdf", "ZQ500", "L"], Correction(high=43.0), by="Ida", note="the other column")
    reject_claim(store, told["zq.pdf", "QK7", None], by="Ida")
    share_pack(store, tmp_path / "pack.zip", ADA)
    return tmp_path / "pack.zip"


def test_what_is_shared_answers_elsewhere_the_same(store: FolderStore, other: FolderStore, shared: Path) -> None:
    report = merge_pack(other, shared)
    assert (report.documents_new, report.claims, report.words_new, report.held_back) == (2, 4, 3, 0)
    assert (report.shared_by, report.licence) == ("Ada", "CC-BY-4.0")
    ours, theirs = everything(store), everything(other)
    assert ours["limits"] == theirs["limits"] and ours["parts"] == theirs["parts"]
    for mine, came in zip(claims_of(store), claims_of(other), strict=True):
        assert came.as_json() | {"shared_by": None, "judged_in": None} == mine.as_json() | {
            "shared_by": None, "judged_in": None,
        }  # fmt: skip
        assert (came.shared_by, came.judged_by, came.judged_in or "Ada") == ("Ada", mine.judged_by, "Ada")


def test_merging_again_and_what_came_back_changes_nothing(
    store: FolderStore, other: FolderStore, shared: Path, tmp_path: Path
) -> None:
    own = everything(store)
    assert merge_pack(store, shared).words_known == 3
    assert everything(store) == own
    merge_pack(other, shared)
    merged = everything(other)
    again = merge_pack(other, shared)
    assert (again.documents_new, again.documents_replaced, again.documents_left, again.words_new) == (0, 0, 2, 0)
    assert everything(other) == merged
    share_pack(other, tmp_path / "back", PackAbout("Ben"))
    merge_pack(store, tmp_path / "back")
    assert everything(store) == own


def test_who_shared_first_is_kept_on_the_way(other: FolderStore, shared: Path, tmp_path: Path) -> None:
    merge_pack(other, shared)
    share_pack(other, tmp_path / "onward", PackAbout("Ben"), csv=True)
    third = FolderStore(tmp_path / "third")
    merge_pack(third, tmp_path / "onward")
    assert {t.shared_by for t in claims_of(third)} == {"Ada"}
    assert {t.judged_in for t in claims_of(third) if t.judged_by} == {"Ada"}
    assert everything(third) == everything(other)


def test_an_own_reading_and_own_words_stay(
    store: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], shared: Path, tmp_path: Path
) -> None:
    mine = FolderStore(tmp_path / "mine")
    keep_in = _keeper(mine, keep)
    keep_in(claim(high=35.0), reader="0")
    [own] = claims_of(mine)
    confirm_claim(mine, own.claim_id, by="me")
    report = merge_pack(mine, shared)
    assert (report.documents_new, report.documents_left) == (1, 1)
    kept = {t.claim_id: t for t in claims_of(mine)}
    assert kept[own.claim_id].state is State.CONFIRMED and kept[own.claim_id].judged_by == "me"
    assert kept[own.claim_id].shared_by is None


def _keeper(store: FolderStore, keep: Callable[..., str]) -> Callable[..., str]:
    """The fixture ``keep``, for another store."""
    import hashlib
    from dataclasses import replace

    from cogledger.extract.records import Reading, Source, SourceKind
    from cogledger.warehouse.register import write_reading

    def put(*claims: Claim, name: str = "zq.pdf", reader: str = "r1") -> str:
        sha256 = hashlib.sha256(name.encode()).hexdigest()
        source = Source(Path(name), name, sha256, 10, SourceKind.PDF)
        named = tuple(replace(claim, document=name) for claim in claims)
        with store.writing() as connection:
            write_reading(connection, Reading(source, 2, named, (), (), 0.1, reader), ".pdf", datetime(2024, 1, 1))
        return sha256

    return put


@pytest.mark.parametrize(("first", "second", "stays"), [("9", "10", 39.0), ("10", "9", 38.0), ("2.9", "2.10", 39.0)])
def test_the_newer_reader_wins_whichever_comes_first(
    claim: Callable[..., Claim], keep: Callable[..., str], tmp_path: Path, first: str, second: str, stays: float
) -> None:
    """Versions are numbers: 10 comes after 9."""
    for number, (reader, high) in enumerate([(first, 38.0), (second, 39.0)]):
        store = FolderStore(tmp_path / f"s{number}")
        _keeper(store, keep)(claim(high=high), reader=reader)
        share_pack(store, tmp_path / f"p{number}", PackAbout(f"person {number}"))
    for order in ((0, 1), (1, 0)):
        target = FolderStore(tmp_path / f"t{order}")
        reports = [merge_pack(target, tmp_path / f"p{number}") for number in order]
        assert [told.record["high"] for told in claims_of(target)] == [stays]
        assert reports[0].documents_new == 1
        assert reports[1].documents_replaced + reports[1].documents_left == 1


def test_only_what_speaks_of_the_parts_asked_for_is_shared(
    store: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path
) -> None:
    keep(claim("ZQ500", high=37.0), claim("QK7", high=35.0), name="both.pdf")
    keep(claim("XY12", "cogs", values=(11.0, 13.0)), name="cogs.pdf")

    def names(**chosen: Any) -> list[str]:
        share_pack(store, tmp_path / "p", ADA, **chosen)
        with open_pack(tmp_path / "p") as pack:
            return [row["name"] for batch in pack.documents() for row in batch.to_pylist()]

    assert names(words=["qk"]) == ["both.pdf"] == names(kind="rear_derailleur") == names(documents=["both.pdf"])
    assert names(kind="cassette") == ["cogs.pdf"]
    with pytest.raises(CallError):
        names(words=["nothing"])
    with pytest.raises(StoreError):
        share_pack(FolderStore(tmp_path / "none"), tmp_path / "p2", ADA)
    assert not (tmp_path / "p2").exists()


def test_no_path_of_this_computer_travels(store: FolderStore, shared: Path, tmp_path: Path) -> None:
    share_pack(store, tmp_path / "text", ADA, csv=True)
    told = b"".join(file.read_bytes() for file in (tmp_path / "text").iterdir()).decode()
    assert str(tmp_path) not in told and "seconds" not in told
    with zipfile.ZipFile(shared) as archive:
        assert all(str(tmp_path).encode() not in archive.read(name) for name in archive.namelist())


def test_texts_that_no_pack_may_hold_are_tamed_or_stay_at_home(
    store: FolderStore, other: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path
) -> None:
    keep(
        claim(high=37.0, snippet="=two\nlines <b>x", maker="Bram\u202ebel"), claim("ZQ\x07501", high=35.0),
        claim("QK7", high=33.0, snippet="x" * 5000),
    )  # fmt: skip
    told = {t.record["part_code"]: t.claim_id for t in claims_of(store)}
    confirm_claim(store, told["ZQ500"], by="=Ida", note="seen\ttwice")
    report = share_pack(store, tmp_path / "p", ADA)
    assert (report.claims, report.left_out) == (2, 1)
    merge_pack(other, tmp_path / "p")
    by_code = {t.record["part_code"]: t for t in claims_of(other)}
    assert by_code["ZQ500"].record["snippet"] == "two lines < b>x"
    assert by_code["ZQ500"].judged_by == "Ida" and by_code["ZQ500"].state is State.CONFIRMED
    before = everything(store)
    merge_pack(store, tmp_path / "p")
    assert everything(store) == before


def test_held_back_claims_stay_at_home(
    store: FolderStore, other: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path
) -> None:
    held = tuple(validate_records([claim("QK7", high=5000.0).as_json()]).held_back)
    keep(claim(high=37.0), held=held)
    assert share_pack(store, tmp_path / "p", ADA).claims == 1
    merge_pack(other, tmp_path / "p")
    assert [t.state for t in claims_of(other)] == [State.READ]


def test_a_word_on_a_held_back_claim_travels_with_the_claim(
    store: FolderStore, other: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path
) -> None:
    held = tuple(validate_records([claim("QK7", high=5000.0).as_json()]).held_back)
    keep(claim(high=37.0), held=held)
    told = {t.record["part_code"]: t.claim_id for t in claims_of(store)}
    correct_claim(store, told["QK7"], Correction(high=41.0), by="Ida")
    share_pack(store, tmp_path / "p", ADA)
    merge_pack(other, tmp_path / "p")
    assert {t.record["part_code"]: (t.state, t.record["high"]) for t in claims_of(other)} == {
        "ZQ500": (State.READ, 37), "QK7": (State.CORRECTED, 41),
    }  # fmt: skip
    assert everything(other)["limits"] == everything(store)["limits"]


def test_claims_of_a_pack_that_the_schema_holds_back_are_kept_so(
    other: FolderStore, claim: Callable[..., Claim], tmp_path: Path, forged: Callable[..., Path]
) -> None:
    path = forged([claim(high=37.0), claim("QK7", high=5000.0), claim("QK7", bbox=None, high=36.0)])
    report = merge_pack(other, path)
    assert (report.claims, report.held_back) == (3, 1)
    told = {(t.record["part_code"], t.record["high"]): t for t in claims_of(other)}
    assert told["QK7", 5000].state is State.HELD_BACK
    assert [r["reason"] for r in told["QK7", 5000].reasons] == ["not_plausible"]
    assert not any("5000" in row for row in everything(other)["limits"])


@pytest.fixture
def forged(tmp_path: Path) -> Callable[..., Path]:
    """A pack of one document with these claims, made by hand."""
    import hashlib

    import pyarrow as pa
    from cogledger.schema.claims import claim_ids
    from cogledger.warehouse.packs import CLAIMS, DOCUMENTS, WORDS, write_pack

    def make(claims: list[Claim], words: list[dict[str, Any]] | None = None, name: str = "forged") -> Path:
        sha256, when = hashlib.sha256(b"f").hexdigest(), datetime(2024, 1, 1)
        document = {"sha256": sha256, "name": "f.pdf", "kind": "pdf", "extension": ".pdf", "size": 1, "pages": 1,
                    "reader": "3", "dated": None, "read_at": when, "origin": None}  # fmt: skip
        ids = claim_ids(sha256, claims)
        rows = [
            vars(claim) | {"claim_id": claim_id, "sha256": sha256, "position": at, "reader": "3", "bbox": None,
                           "condition": json.dumps(claim.condition) if claim.condition else None}
            for at, (claim_id, claim) in enumerate(zip(ids, claims, strict=True))
        ]  # fmt: skip
        told = [
            {"judgement_id": "ab" * 16, "claim_id": ids[0], "sha256": sha256, "verdict": "rejected", "origin": None,
             "snapshot": json.dumps(claims[0].as_json()), "correction": None, "judged_by": "Ida", "judged_at": when,
             "note": None} | word
            for word in words or []
        ]  # fmt: skip
        tables = {"documents": (DOCUMENTS, [document]), "claims": (CLAIMS, rows), "words": (WORDS, told)}
        made = {key: pa.Table.from_pylist(rows, schema=table.arrow) for key, (table, rows) in tables.items()}
        write_pack(tmp_path / name, made, PackAbout("Eve"))
        return tmp_path / name

    return make


def test_other_words_under_a_known_id_are_refused_and_named(
    other: FolderStore, claim: Callable[..., Claim], forged: Callable[..., Path]
) -> None:
    merge_pack(other, forged([claim(high=37.0)], [{}]))
    before = everything(other)
    for number, change in enumerate([{"judged_by": "Eve"}, {"verdict": "confirmed"}, {"note": "new"}]):
        with pytest.raises(DocumentError, match="judgement_id abab") as refused:
            merge_pack(other, forged([claim(high=37.0)], [change], f"other{number}"))
        assert refused.value.fault.reason is Reason.BAD_PACK
        assert everything(other) == before


@pytest.mark.parametrize("step", ["load_arriving", "_take_words", "_take_readings", "restore_judged", "settle"])
def test_a_merge_is_whole_or_nothing(
    other: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], shared: Path, step: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    _keeper(other, keep)(claim("ZQ500", high=31.0), name="mine.pdf")
    before = everything(other)
    done = getattr(merging, step)

    def fail_after(*given: Any) -> Any:
        done(*given)
        raise RuntimeError("the power is gone")

    with monkeypatch.context() as patched:
        patched.setattr(merging, step, fail_after)
        with pytest.raises(RuntimeError):
            merge_pack(other, shared)
    assert everything(other) == before
    assert merge_pack(other, shared).documents_new == 2


def test_a_hostile_pack_leaves_the_store_as_it_was(other: FolderStore, shared: Path, tmp_path: Path) -> None:
    merge_pack(other, shared)
    before = everything(other)
    data = bytearray(shared.read_bytes())
    data[len(data) // 2] ^= 0xFF
    (tmp_path / "harmed.zip").write_bytes(data)
    with pytest.raises(DocumentError):
        merge_pack(other, tmp_path / "harmed.zip")
    assert everything(other) == before


def test_pictures_travel_where_there_is_a_copy_of_the_document(
    store: FolderStore, other: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path,
    photo: Callable[..., Path], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    from cogledger.warehouse import evidence

    keep(claim(high=37.0), claim("QK7", high=33.0))
    kept = claims_of(store)
    png = photo("place.png").read_bytes()

    def draw(_: object, claim_id: str, out: Path) -> None:
        if claim_id != kept[0].claim_id:
            raise StoreError(Reason.SOURCE_GONE, "the store's copy of it is gone")
        out.write_bytes(png)

    with monkeypatch.context() as drawing:
        drawing.setattr(evidence, "make_evidence", draw)
        report = share_pack(store, tmp_path / "p.zip", ADA, pictures=True)
    assert (report.pictures, report.without_picture) == (1, 1)
    for _ in range(2):
        merge_pack(other, tmp_path / "p.zip")
    with other.reading() as connection:
        assert [row[0] for row in connection.execute("from kept.pictures").fetchall()] == [kept[0].claim_id]
    made = evidence.make_evidence(other, kept[0].claim_id, tmp_path / "shown.png")
    with Image.open(made.out) as shown, Image.open(io.BytesIO(png)) as shared:
        assert shown.width == shared.width and shown.height > shared.height, "a line says who shared it"
    with pytest.raises(StoreError) as caught:
        evidence.make_evidence(other, kept[1].claim_id, tmp_path / "none.png")
    assert caught.value.fault.reason is Reason.SOURCE_GONE


def test_others_who_move_a_reading_to_another_part_only_make_it_doubtful(
    store: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim], other: FolderStore, tmp_path: Path
) -> None:
    """The reading is this store's own, so the word of others holds nowhere: not for the part that they mean either."""
    for one in (store, other):
        with one.writing():
            pass
    keep(claim(high=37.0), claim("QK7", high=33.0))
    share_pack(store, tmp_path / "own.zip", ADA)
    merge_pack(other, tmp_path / "own.zip")
    (moved,) = [told for told in claims_of(other) if told.record["part_code"] == "ZQ500"]
    correct_claim(other, moved.claim_id, Correction(code="QK7", high=41.0), "Ben")
    share_pack(other, tmp_path / "back.zip", PackAbout("Ben"))
    for _ in range(2):
        merge_pack(store, tmp_path / "back.zip")
        parts = {part.code: part.limits["total_capacity"] for part in list_limits(store)}
        ((own,), (untouched,)) = parts["ZQ500"], parts["QK7"]
        assert (own.value.high, own.confidence, untouched.value.high, untouched.conflicts) == (37.0, 0.5, 33.0, ())
