"""The tesseract module: words where they stand, and one clear sentence for every way in which the program can fail."""

import os
import stat
import sys
from pathlib import Path

import numpy as np
import pytest
from cogledger.extract.engines import tesseract
from cogledger.extract.records import Word
from cogledger.schema.claims import Box
from cogledger.schema.errors import DocumentError, InstallationError
from cogledger.schema.reasons import Reason
from PIL import Image, ImageDraw, ImageFont

HEADER = "level\tpage_num\tblock_num\tpar_num\tline_num\tword_num\tleft\ttop\twidth\theight\tconf\ttext\n"


@pytest.fixture(autouse=True)
def fresh_probe():
    tesseract.probe.cache_clear()
    yield
    tesseract.probe.cache_clear()


def picture(*lines: str) -> Image.Image:
    page = Image.new("RGB", (900, 80 + 80 * len(lines)), "white")
    draw = ImageDraw.Draw(page)
    for index, line in enumerate(lines):
        draw.text((60, 40 + 80 * index), line, fill="black", font=ImageFont.load_default(48))
    return page


def stand_in(folder: Path, monkeypatch, reading: str) -> None:
    """A program in place of tesseract that answers the probe, and does ``reading`` (shell) when asked to read."""
    if sys.platform == "win32":
        pytest.skip("the stand-in is a shell script")
    program = folder / "tesseract"
    program.write_text(
        "#!/bin/sh\n"
        'case "$1" in\n'
        "--version) echo 'tesseract 9.9.9';;\n"
        "--list-langs) printf 'List of available languages (1):\\neng\\nosd\\n';;\n"
        f"*) {reading};;\n"
        "esac\n"
    )
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setattr(tesseract, "_programs", lambda: [(str(program), None)])


def test_words_are_found_where_they_are_drawn():
    words = tesseract.find_words(picture("Largest cog 32", "Capacity 37"), psm=tesseract.ONE_BLOCK)
    assert [w.text for w in words] == ["Largest", "cog", "32", "Capacity", "37"]
    assert all(0.5 < w.confidence <= 1 and w.upright for w in words)
    first = words[0].box
    assert 50 <= first.x0 <= 80 and 40 <= first.top <= 70 and first.bottom <= 110


def test_arrays_and_pictures_give_the_same_words():
    page = picture("Chainline 43.5")
    from_picture = tesseract.find_words(page, psm=tesseract.ONE_LINE)
    assert from_picture == tesseract.find_words(np.asarray(page), psm=tesseract.ONE_LINE)
    assert [w.text for w in from_picture] == ["Chainline", "43.5"]


def test_many_images_keep_their_order_and_a_blank_one_gives_no_words():
    blank = Image.new("L", (300, 80), 255)
    answers = tesseract.find_words_each([picture("Alpha"), blank, picture("Beta")], psm=tesseract.ONE_LINE)
    assert [[w.text for w in words] for words in answers] == [["Alpha"], [], ["Beta"]]
    assert tesseract.find_words_each([]) == []


def test_a_whitelist_leaves_other_signs_out():
    words = tesseract.find_words(picture("3737"), psm=tesseract.ONE_WORD, whitelist="37")
    assert [w.text for w in words] == ["3737"]
    letters = tesseract.find_words(picture("3737"), psm=tesseract.ONE_WORD, whitelist="ABC")
    assert all(set(w.text) <= set("ABC") for w in letters)


def test_the_environment_of_this_process_stays_as_it_was():
    before = dict(os.environ)
    tesseract.find_words(picture("Alpha"))
    assert dict(os.environ) == before


def test_probe_tells_version_and_languages():
    info = tesseract.probe()
    assert Path(info.path).exists()
    assert info.version[0].isdigit()
    assert "eng" in info.languages and "osd" not in info.languages


def test_languages_without_data_are_left_out():
    engine = tesseract.EngineInfo("x", "5", ("eng", "deu", "fra"))
    assert tesseract.known_languages(engine, ["fr", "xyz"]) == ["fra"]
    assert tesseract.known_languages(engine, ["de", "deu", "eng"]) == ["deu", "eng"]
    assert tesseract.known_languages(engine, ["xyz"]) == ["eng", "deu"]
    assert tesseract.known_languages(engine, None) == ["eng", "deu"]
    assert tesseract.known_languages(tesseract.EngineInfo("x", "5", ("ita",)), None) == ["ita"]


def test_the_program_with_more_languages_is_used(monkeypatch):
    infos = {
        "small": tesseract.EngineInfo("small", "5", ("eng",)),
        "large": tesseract.EngineInfo("large", "5", ("eng", "fra")),
    }
    monkeypatch.setattr(tesseract, "_programs", lambda: [("small", None), ("broken", None), ("large", None)])
    monkeypatch.setattr(tesseract, "_ask", lambda path, data: infos.get(path))
    assert tesseract.probe().path == "large"


def test_points_from_pixels():
    word = Word("37", Box(300, 600, 330, 640), 0.9, size=40)
    (scaled,) = tesseract.as_points([word], 72 / 300)
    assert scaled.box.as_list() == [72.0, 144.0, 79.2, 153.6]
    assert scaled.size == pytest.approx(9.6)
    assert (scaled.text, scaled.confidence) == ("37", 0.9)


@pytest.mark.parametrize("programs", [[], [("/no/such/program", None)], [(sys.executable, None)]])
def test_a_missing_or_strange_program_is_a_fault_of_the_installation(monkeypatch, programs):
    monkeypatch.setattr(tesseract, "_programs", lambda: programs)
    with pytest.raises(InstallationError) as caught:
        tesseract.find_words(picture("Alpha"))
    assert caught.value.fault.reason is Reason.ENGINE_MISSING
    assert "tesseract" in str(caught.value) and "install" in str(caught.value)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ("echo out of luck >&2; exit 3", 'code 3 ("out of luck")'),
        ("kill -9 $$", "stopped with code"),
        ("echo hello", "no table of words"),
        ("true", "no table of words"),
        (f"printf '{HEADER}5\\t1\\t1\\n'".replace("\n'", "'").replace("text\n", "text\\n"), "cut short"),
        (
            f"printf '{HEADER}5\\t7\\t1\\t1\\t1\\t1\\t0\\t0\\t9\\t9\\t90\\tX\\n'".replace("text\n", "text\\n"),
            "not given",
        ),
        ("sleep 20", "longer than 0.5 s"),
    ],
)
def test_a_failing_program_gives_one_sentence(tmp_path, monkeypatch, reading, words):
    stand_in(tmp_path, monkeypatch, reading.replace("sleep", "exec sleep"))
    with pytest.raises(DocumentError) as caught:
        tesseract.find_words(picture("Alpha"), timeout_s=0.5)
    assert caught.value.fault.reason is Reason.ENGINE_FAILED
    assert words in str(caught.value)


def test_a_program_that_vanishes_after_the_probe(tmp_path, monkeypatch):
    stand_in(tmp_path, monkeypatch, "true")
    tesseract.probe()
    (tmp_path / "tesseract").unlink()
    with pytest.raises(DocumentError, match="could not be started"):
        tesseract.find_words(picture("Alpha"))


def test_sideways_words_are_marked():
    rows = HEADER + "5\t1\t1\t1\t1\t1\t10\t20\t12\t90\t80\tCAGE\n5\t1\t1\t1\t1\t1\t10\t20\t9\t40\t80\tI\n"
    ((sideways, short),) = tesseract._parse_tables(rows, 1)
    assert not sideways.upright and short.upright
    assert sideways.confidence == pytest.approx(0.8)


def test_quotes_in_words_do_not_swallow_the_rest():
    rows = HEADER + '5\t1\t1\t1\t1\t1\t0\t0\t9\t9\t90\t"A\n5\t1\t1\t1\t1\t2\t20\t0\t9\t9\t90\tB\n'
    assert [w.text for w in tesseract._parse_tables(rows, 1)[0]] == ['"A', "B"]
