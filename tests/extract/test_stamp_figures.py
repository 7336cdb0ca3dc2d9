"""The benchmark's figures of stamped codes: worked out by hand, and beside another program's where it is there."""

from __future__ import annotations

import importlib.util
import random
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
SCORER = ROOT.parent / "shared" / "tools" / "score_photos.py"


def load(path: Path):
    spec = importlib.util.spec_from_file_location(f"loaded_{path.stem}", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


marks = load(ROOT / "benchmarks" / "stamp_figures.py")
Answer = marks.Answer


def truth(code, legibility="easy", process="engraved"):
    return {"file": "x.jpg", "code": code, "legibility": legibility, "process": process}


def test_figures_worked_out_by_hand() -> None:
    pairs = [
        (truth("KLM-204"), Answer("klm 204", 0.95)),
        (truth("QP77Z", "hard"), Answer("QP71Z", 0.92)),
        (truth("BN31", "medium", "etched"), Answer(None, 0.0)),
        (truth(None, "none"), Answer(None, 0.0)),
        (truth(None, "none"), Answer("AA11", 0.3)),
    ]
    figures = marks.figures(pairs)
    assert figures["exact"] == pytest.approx(1 / 3, abs=1e-4)
    assert figures["exact_legible"] == 0.5
    assert figures["cer"] == pytest.approx((0 + 1 + 4) / (6 + 5 + 4), abs=1e-4)
    assert figures["null_accuracy"] == 0.5
    assert (figures["sure"], figures["sure_wrong"]) == (2, 0.5)
    assert figures["ece"] == pytest.approx((abs(0.95 + 0.92 - 1) + 0.3) / 3, abs=1e-4)
    assert marks.exact_by(pairs, lambda row: row["process"]) == {"engraved": (0.5, 2), "etched": (0.0, 1)}


def test_without_photos_of_a_kind_there_is_no_figure() -> None:
    figures = marks.figures([(truth("KLM204"), Answer(None, 0.0))])
    assert figures["null_accuracy"] is None and figures["ece"] is None and figures["sure_wrong"] is None


@pytest.mark.parametrize("word", ["KLM204", "klm-204", "7QX19", "AB12", "ZZTOPABC123456"])
def test_words_that_could_be_codes(word: str) -> None:
    assert marks.is_code_shaped(word)


@pytest.mark.parametrize(
    "word", ["ASSEMBLED", "1174", "48-34T", "11-28", "52T", "A1", "K4", "ÄÖ12", "ABCDEFGH12345678", ""]
)
def test_words_that_could_not(word: str) -> None:
    assert not marks.is_code_shaped(word)


def test_a_plain_engine_answers_its_surest_word_of_a_codes_shape() -> None:
    lines = [("MAKER", 0.99), ("LOT 48-34T", 0.98), ("KLM204 M", 0.7), ("QP7Z1", 0.6)]
    assert marks.choose(lines) == Answer("KLM204", 0.7)
    assert marks.choose([("KLM - 204", 0.8)]) == Answer("KLM-204", 0.8)
    assert marks.choose([("MAKER", 0.99)]) == marks.NOTHING


def test_known_codes_mend_one_sign_but_not_where_two_are_as_near() -> None:
    lines = [("KLM2O4", 0.7), ("XY99Z", 0.95)]
    assert marks.choose(lines, ["KLM204", "RRR111"]) == Answer("KLM204", 0.7)
    assert marks.choose(lines, ["KLM204", "KLM2D4"]) == Answer("XY99Z", 0.95)
    assert marks.choose(lines, ["RRR111"]) == Answer("XY99Z", 0.95)
    assert marks.choose([("KLM205", 0.9), ("RRR111", 0.2)], ["KLM204", "RRR111"]) == Answer("RRR111", 0.2)


def test_a_plain_engine_has_a_row_with_and_one_without_the_known_codes(monkeypatch) -> None:
    monkeypatch.setattr(sys, "path", [str(ROOT / "benchmarks"), *sys.path])
    bench = load(ROOT / "benchmarks" / "stamps.py")
    seen = [
        {"texts": [["KLM2O4", 0.8]], "seconds": 1.0, "processor_s": 0.5},
        {"texts": [], "seconds": 3.0, "processor_s": 0.7},
    ]
    ran = {"ready_s": 2.0, "peak_mb": 100.0, "seen": seen}
    rows = bench.rows_of("rapidocr", ran, [truth("KLM204"), truth(None, "none")], ["KLM204"])
    assert [row["engine"] for row in rows] == ["rapidocr", "rapidocr + known codes"]
    assert [row["exact"] for row in rows] == [0.0, 1.0]
    assert rows[0]["median_s"] == 2.0 and rows[0]["wrong"] == [("x.jpg", "KLM204", "KLM2O4", 0.8)]
    assert "KLM204 read as KLM2O4" in bench.mistakes(rows[0], 5)
    assert bench.table(rows).count("rapidocr + known codes") == 3


@pytest.mark.skipif(not SCORER.is_file(), reason="the other scoring program is not here")
def test_figures_agree_with_another_scoring_program() -> None:
    other = load(SCORER)
    rng = random.Random(4)
    codes = ["KLM204", "QP-77Z", "BN31", "TTR9902", None]
    pairs = []
    for _ in range(300):
        code = rng.choice(codes)
        said = rng.choice([code, code, rng.choice(codes), "KLM2O4", None])
        row = {**truth(code, rng.choice(["easy", "medium", "hard"])), "teeth": [], "variant": None, "group": None}
        pairs.append((row, Answer(said, rng.random() if said else 0.0)))
    theirs = other.figures(
        [
            (t, {"code": a.code, "confidence": a.confidence, "variant": None, "teeth": [], "advice": None})
            for t, a in pairs
        ]
    )
    ours = marks.figures(pairs)
    assert {name: ours[name] for name in ours} == {name: theirs[name] for name in ours}
