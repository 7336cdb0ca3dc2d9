"""The developers' view: what each stage made of a page, as JSON and as a picture."""

import json

import numpy as np
import pytest
from cogledger.extract.__main__ import main
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from cogledger.extract.stages import COLOURS, Mark, find_marks, read_stages, write_stages
from PIL import Image

NAMES = ["1-words", "2-lines", "3-grids", "4-context", "5-entries", "6-claims"]


@pytest.fixture
def sheet(pen):
    drawn = pen("sheet.pdf")
    drawn.text(50, 50, "Brambel", 16, bold=True)
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "Total capacity", "Weight"], ["KX710", "37T", "231 g"], ["KX720", "see chart", "210 g"]])
    drawn.page()
    drawn.text(50, 90, "Rear derailleur VB350", 12, bold=True)
    drawn.text(50, 120, "Total capacity: 33T", 9)
    drawn.page()
    return drawn.save()


def source_of(path):
    (source,), _ = find_sources([path])
    return source


def test_every_page_has_every_stage_and_a_picture(sheet, tmp_path):
    out = tmp_path / "out"
    assert main([str(sheet), "--stages", str(out)]) == 0
    assert sorted(p.name for p in out.iterdir()) == sorted(
        [f"p00{n}-{name}.json" for n in (1, 2) for name in NAMES] + ["p001.png", "p002.png"])  # fmt: skip
    state = {name: json.loads((out / f"p001-{name}.json").read_text(encoding="utf-8")) for name in NAMES}
    assert state["1-words"]["outlook"]["limits"] is True
    assert [w["text"] for w in state["1-words"]["words"]][:2] == ["Brambel", "Rear"] and state["1-words"]["rules"]
    assert state["2-lines"][0][0]["text"] == "Brambel"
    (grid,) = state["3-grids"]
    assert (grid["rows"], grid["cols"], grid["reader"], grid["view"]["header_rows"]) == (3, 3, "ruled", 1)
    assert state["4-context"]["headings"][0]["subject"]["kind"] == "rear_derailleur"
    assert state["5-entries"][0]["hits"][0]["limit"] and state["5-entries"][0]["box"]
    assert state["6-claims"]["held_back"][0]["reasons"][0]["reason"] == "unread_value"


def test_the_claims_are_those_of_the_pipeline(sheet, tmp_path):
    """The view goes the pipeline's own way; when the two part, this fails."""
    source = source_of(sheet)
    reading = read_source(source)
    write_stages(source, tmp_path)
    shown = [c for n in (1, 2) for c in json.loads((tmp_path / f"p00{n}-6-claims.json").read_text("utf-8"))["claims"]]
    assert shown == [c.as_json() for c in reading.claims]
    held = [h for n in (1, 2) for h in json.loads((tmp_path / f"p00{n}-6-claims.json").read_text("utf-8"))["held_back"]]
    assert len(held) == len(reading.held_back)


def test_one_page_only_still_knows_what_stood_before(pen, tmp_path):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleur KX710", 12, bold=True)
    drawn.page()
    drawn.text(50, 90, "Total capacity: 37T", 9)
    drawn.page()
    write_stages(source_of(drawn.save()), tmp_path, 2)
    assert {p.name[:4] for p in tmp_path.glob("p0*")} == {"p002"}
    claims = json.loads((tmp_path / "p002-6-claims.json").read_text(encoding="utf-8"))["claims"]
    assert [(c["part_code"], c["high"]) for c in claims] == [("KX710", 37)]


def test_frames_lie_where_the_things_stand(sheet):
    stages = next(iter(read_stages(source_of(sheet))))
    marks = find_marks(stages)
    words = {w.text: w.box for w in stages.content.words}

    def over(mark, box):
        middle = (box.x0 + box.x1) / 2, (box.top + box.bottom) / 2
        return any(m is mark and b.x0 <= middle[0] <= b.x1 and b.top <= middle[1] <= b.bottom for m, b in marks)

    assert over(Mark.VALUE, words["37T"]) and over(Mark.LABEL, words["Weight"]) and over(Mark.SUBJECT, words["KX710"])
    assert over(Mark.CELL, words["231"]) and not over(Mark.LABEL, words["231"])
    assert {m for m, _ in marks} >= {Mark.WORD, Mark.RULE, Mark.CELL, Mark.LABEL, Mark.VALUE, Mark.SUBJECT, Mark.HELD}


@pytest.mark.parametrize("turn", [0, 90, 180])
def test_the_picture_frames_the_value_in_its_colour(pen, tmp_path, turn):
    drawn = pen(size=(400, 600))
    drawn.text(60, 90, "Rear derailleur KX710", 12, bold=True)
    drawn.text(60, 120, "Total capacity: 37T", 9)
    write_stages(source_of(drawn.save(turn=turn)), tmp_path)
    picture = Image.open(tmp_path / "p001.png").convert("RGB")
    pixels = np.asarray(picture)
    ys, xs = np.nonzero((pixels == COLOURS[Mark.VALUE]).all(axis=2))
    xs, ys = xs[ys > 22], ys[ys > 22]  # the legend left out
    shown = {0: (130, 117), 90: (600 - 117, 130), 180: (400 - 130, 600 - 117)}[turn]
    scale = 110 / 72
    middle = xs.mean() / scale, (ys.mean() - 22) / scale
    assert abs(middle[0] - shown[0]) < 14 and abs(middle[1] - shown[1]) < 14


def test_a_broken_page_is_named_and_the_rest_written(sheet, tmp_path, monkeypatch):
    from cogledger.extract import contents

    whole = contents.read_letters_and_rules

    def failing(page, textpage, text, number, settings):
        if number == 1:
            raise ValueError("broken")
        return whole(page, textpage, text, number, settings)

    monkeypatch.setattr(contents, "read_letters_and_rules", failing)
    written, faults = write_stages(source_of(sheet), tmp_path)
    assert len(written) == 7 and [f.where for f in faults] == ["page 1"]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [(["gone.pdf"], 1, "no such file"), (["{sheet}", "--page", "9"], 2, "no page 9"),
     (["{sheet}", "--page", "0"], 2, "no page 0")],
)  # fmt: skip
def test_wrong_calls_end_in_one_sentence(sheet, tmp_path, capsys, arguments, code, words):
    call = [a.format(sheet=sheet) for a in arguments]
    assert main([*call, "--stages", str(tmp_path / "out")]) == code
    assert words in capsys.readouterr().err


def test_a_folder_is_a_wrong_call(tmp_path, capsys):
    with pytest.raises(SystemExit) as caught:
        main([str(tmp_path), "--stages", str(tmp_path / "out")])
    assert caught.value.code == 2 and "folder" in capsys.readouterr().err
