"""The random spec sheets: drawn alike for one seed, and their truth is what stands on the page."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from collections import Counter, defaultdict
from pathlib import Path

import pdfplumber
import pytest
from cogledger.schema.limits import LIMITS
from cogledger.schema.validation import validate_records

HERE = Path(__file__).resolve().parent.parent / "fixtures"
NO_TEXT = {"scan", "broken_layer"}


def draw(out, count, seed, *more):
    call = [
        sys.executable,
        str(HERE / "make.py"),
        "sheets",
        "--count",
        str(count),
        "--seed",
        str(seed),
        "--out",
        str(out),
    ]
    subprocess.run([*call, *more], check=True, capture_output=True)
    return [json.loads(line) for line in (out / "truth.jsonl").read_text(encoding="utf-8").splitlines()]


@pytest.fixture(scope="module")
def sheets(tmp_path_factory):
    out = tmp_path_factory.mktemp("sheets")
    return out, draw(out, 72, 4242)


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    first, second = tmp_path / "a", tmp_path / "b"
    assert draw(first, 6, 9) == draw(second, 6, 9)
    assert [p.read_bytes() for p in sorted(first.iterdir())] == [p.read_bytes() for p in sorted(second.iterdir())]


def test_another_seed_gives_other_sheets(tmp_path):
    assert draw(tmp_path / "a", 3, 1, "--family", "boxed_rows") != draw(tmp_path / "b", 3, 2, "--family", "boxed_rows")


def test_each_set_of_words_can_be_drawn_alone(tmp_path):
    """The two sets share no label of a limit; both together draw on each."""
    rows = {}
    for wording in ("a", "b", "both"):
        calls = ("--family", "open_rows", "--wording", wording, "--press", "plain")
        rows[wording] = draw(tmp_path / wording, 4, 77, *calls)
    makers = {wording: {row["maker"] for row in found} for wording, found in rows.items()}
    assert not makers["a"] & makers["b"] and rows["both"]
    for language in ("en", "de", "fr", "it", "es", "nl"):
        sets = [tomllib.loads((HERE / "sheets" / "words" / f"{language}{end}.toml").read_text(encoding="utf-8"))
                for end in ("", "_b")]  # fmt: skip
        assert [words["wording"] for words in sets] == ["a", "b"]
        first, second = (({w.lower() for ws in words["labels"].values() for w in ws}) for words in sets)
        assert not first & second
        assert set(sets[0]["labels"]) == set(sets[1]["labels"]) and set(sets[0]["words"]) == set(sets[1]["words"])
        assert all(len(words["columns"]["max"]) == len(words["columns"]["min"]) for words in sets)


def test_every_statement_is_a_valid_claim(sheets):
    _, rows = sheets
    extra = {"snippet": "as printed", "method": "truth", "confidence": 1.0}
    result = validate_records([row | extra for row in rows])
    assert [(h.record["document"], h.record["limit"], h.objections) for h in result.held_back] == []
    readings = [row | alt | extra for row in rows for alt in row.get("alt", [])]
    assert readings and not validate_records(readings).held_back


def test_every_value_stands_in_its_box(sheets):
    folder, rows = sheets
    by_document = defaultdict(list)
    for row in rows:
        if row["family"] not in NO_TEXT:
            by_document[row["document"]].append(row)
    assert len(by_document) > 40
    for name, own in by_document.items():
        with pdfplumber.open(folder / name) as pdf:
            for row in own:
                if row["printed"].strip(" ✓✔●") == "":
                    continue  # a mark of a font of symbols, which pdfplumber reads as its code
                page = pdf.pages[row["page"] - 1]
                left, top = page.cropbox[:2]
                box = [v + (top if n % 2 else left) for n, v in enumerate(row["bbox"])]
                inside = Counter(c["text"] for c in page.chars if c["text"].strip() and centre_in(c, box))
                printed = Counter(re.sub(r"\s", "", row["printed"]))
                assert not printed - inside, (name, row["limit"], row["printed"])


def centre_in(char, box):
    x, y = (char["x0"] + char["x1"]) / 2, (char["top"] + char["bottom"]) / 2
    return box[0] - 1 <= x <= box[2] + 1 and box[1] - 1 <= y <= box[3] + 1


def test_the_numbers_of_a_value_are_printed(sheets):
    """What a row claims is what its box shows, unless the box holds a mark that stands for the value."""
    _, rows = sheets
    numeric = [
        row for row in rows if row["text"] is None and row["family"] != "matrix" and re.search(r"\d", row["printed"])
    ]
    assert len(numeric) > 0.6 * len(rows)
    for row in numeric:
        shown = {float(n) for n in re.findall(r"\d+\.?\d*", row["printed"].replace(",", "."))} | {
            float(n) for n in re.findall(r"\d+", row["printed"])
        }
        wanted = {n for n in (row["low"], row["high"], *(row["values"] or ())) if n is not None}
        assert wanted <= shown, (row["document"], row["limit"], row["printed"], wanted)


def test_boxes_lie_on_the_page(sheets):
    folder, rows = sheets
    sizes = {}
    for row in rows:
        if row["document"] not in sizes:
            with pdfplumber.open(folder / row["document"]) as pdf:
                sizes[row["document"]] = [(p.cropbox[2] - p.cropbox[0], p.cropbox[3] - p.cropbox[1]) for p in pdf.pages]
        width, height = sizes[row["document"]][row["page"] - 1]
        x0, top, x1, bottom = row["bbox"]
        assert 0 <= x0 < x1 <= width and 0 <= top < bottom <= height, row


def test_scans_carry_no_text_and_broken_layers_a_wrong_one(sheets):
    folder, rows = sheets
    for family, readable in (("scan", False), ("broken_layer", True)):
        own = [row for row in rows if row["family"] == family]
        assert own
        for name in {row["document"] for row in own}:
            with pdfplumber.open(folder / name) as pdf:
                text = pdf.pages[0].extract_text() or ""
                assert (pdf.pages[0].images or readable) and bool(text) is readable
                assert not any(row["part_code"] in text for row in own if len(row["part_code"]) > 4)


def test_every_limit_and_language_is_drawn(tmp_path):
    rows = draw(tmp_path, 110, 31)
    assert {row["limit"] for row in rows} == set(LIMITS)
    assert any(row["condition"] for row in rows) and any(row.get("covers") for row in rows)
    assert len({row["maker"] for row in rows}) >= 8


def test_the_committed_sheets_are_what_the_script_draws(tmp_path):
    subprocess.run(
        [sys.executable, str(HERE / "make.py"), "documents", "--out", str(tmp_path)], check=True, capture_output=True
    )
    drawn = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    kept = {path.name: path.read_bytes() for path in (HERE / "documents").iterdir()}
    assert set(drawn) == set(kept) and len(kept) <= 13
    assert drawn["truth.jsonl"] == kept["truth.jsonl"]
    assert sum(map(len, kept.values())) < 1_000_000
    plain = [name for name in kept if name.endswith(".pdf") and not name.startswith(("scan", "broken"))]
    assert [name for name in plain if drawn[name] != kept[name]] == []


def test_the_shipped_scenario_is_what_the_script_draws(tmp_path):
    """Pictures apart: their bytes hang on the libraries that compress them."""
    shipped = HERE.parent / "desk" / "scenario"
    out, truth = tmp_path / "scenario", tmp_path / "truth.jsonl"
    call = [sys.executable, str(HERE / "make.py"), "scenario", "--out", str(out), "--truth", str(truth)]
    subprocess.run(call, check=True, capture_output=True)
    assert (HERE / "scenario" / "truth.jsonl").read_bytes() == truth.read_bytes()
    drawn = {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    kept = {path.relative_to(shipped): path.read_bytes() for path in shipped.rglob("*") if path.is_file()}
    assert set(drawn) == set(kept)
    pictures = {name for name in kept if name.suffix == ".jpg" or "scan" in name.name}
    assert [name for name in kept if name not in pictures and drawn[name] != kept[name]] == []
