"""Cuts, flat lines, whole photos and the feed: the samples that are learnt from, and the sets that judge."""

from __future__ import annotations

import json
import shutil
import sys
from collections import Counter, defaultdict
from multiprocessing import shared_memory
from pathlib import Path

import cv2
import numpy as np
import pytest
import reportlab
from cogledger.extract.stamps.grids import ALPHABET, CUT_HEIGHT_PX
from cogledger.extract.stamps.teeth import parse_teeth
from cogledger.schema.parts import code_key

sys.path.append(str(Path(__file__).resolve().parents[2]))

from training import compare, cuts, flats, photos
from training.cuts import LONGEST, WIDTH_PX, as_classes, as_sample, draw_cuts, turnable
from training.feed import Feed, Field
from training.fonts import FontsMissing, is_held_out
from training.lines import Words, draw_block
from training.marks import PROCESSES
from training.photos import Plan, draw_codes, legibility, make_photo, plan_photo
from training.scenes import draw_patch

FONTS = [Path(reportlab.__file__).parent / "fonts" / name for name in ("Vera.ttf", "VeraBd.ttf")]
SMALL = ((360, 480), (400, 400))
MARKS = {ALPHABET.index(sign) + 1 for sign in "./* "}


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def label_of(sample: dict) -> str:
    return "".join(ALPHABET[number - 1] for number in sample["label"][: sample["count"]])


def assert_whole(sample: dict, fields: tuple[Field, ...]) -> None:
    assert set(sample) == {field.name for field in fields}
    for field in fields:
        assert np.shape(sample[field.name]) == field.shape, field.name
        assert np.asarray(sample[field.name]).astype(field.kind).tolist() == np.asarray(sample[field.name]).tolist()


# Cuts


def test_cuts_have_their_label_and_stay_within_their_width() -> None:
    samples = [sample for seed in range(12) for sample in draw_cuts(rng(seed), FONTS)]
    assert len(samples) > 12
    for sample in samples:
        assert_whole({**sample, "cap": np.float32(sample["cap"])}, cuts.FIELDS)
        assert 8 <= sample["width"] <= WIDTH_PX
        assert not sample["pixels"][:, sample["width"] :].any()
        assert not sample["label"][sample["count"] :].any()
        assert sample["process"] in range(-1, len(PROCESSES))


def test_one_seed_gives_the_same_cuts() -> None:
    for one, other in zip(draw_cuts(rng(4), FONTS), draw_cuts(rng(4), FONTS), strict=True):
        assert all(np.array_equal(one[name], other[name]) for name in one)


def test_textless_cuts_are_read_as_nothing() -> None:
    samples = cuts.draw_textless(rng(3))
    assert len(samples) == 10
    assert all(sample["count"] == 0 and sample["process"] == -1 for sample in samples)
    assert np.std([sample["pixels"][:, : sample["width"]].mean() for sample in samples]) > 1


def test_cuts_upside_down_are_read_as_nothing_unless_they_may_be_legible() -> None:
    for text, flips in (("KRAFT-74J", True), ("HON808-SX", False)):
        photo = next(
            p for p in (draw_patch(rng(seed), FONTS, [Words(text, text, "code")]) for seed in range(30)) if p.lines
        )
        samples = [cuts._cut(rng(seed), photo, photo.lines[0], 0) for seed in range(250)]
        empty = [sample for sample in samples if not sample["count"]]
        assert {label_of(sample) for sample in samples} == ({text, ""} if flips else {text})
        assert len(empty) / 250 == pytest.approx(0.05 if flips else 0, abs=0.04)
        mean = np.mean([level(sample) for sample in samples if sample["count"]], axis=0)
        for sample in empty:
            seen = level(sample)
            assert (
                np.corrcoef(mean.ravel(), seen[::-1, ::-1].ravel())[0, 1]
                > np.corrcoef(mean.ravel(), seen.ravel())[0, 1]
            )


def level(sample: dict) -> np.ndarray:
    """A sample's grey picture at one width, its own brightness taken away."""
    grey = sample["pixels"][:, : sample["width"]].astype(np.float32).mean(axis=2)
    grey = cv2.resize(grey, (200, CUT_HEIGHT_PX), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(grey - grey.mean(), (0, 0), 2.0)


def test_long_cuts_are_squeezed_not_cut_off() -> None:
    wide = np.repeat(np.linspace(0, 255, 900).astype(np.uint8)[None, :, None], CUT_HEIGHT_PX, 0).repeat(3, 2)
    sample = as_sample(wide, "A" * 20, 24.0, 2)
    assert sample["width"] == WIDTH_PX
    assert sample["pixels"][0, 0, 0] < 3 and sample["pixels"][0, -1, 0] > 252


def test_no_line_has_more_signs_than_a_label_holds() -> None:
    generator = rng(8)
    longest = max(len(words.label) for _ in range(3000) for words in draw_block(generator))
    assert 20 < longest <= LONGEST


def test_classes_follow_the_alphabet() -> None:
    assert as_classes(ALPHABET) == list(range(1, len(ALPHABET) + 1))
    assert as_classes("A0* ") == [1, 27, 40, 41]
    with pytest.raises(KeyError):
        as_classes("é")


def test_texts_that_read_either_way_up_are_told() -> None:
    assert turnable("HOX-808") and turnable("1961")
    assert not turnable("KRAFT") and not turnable("3JG4R")


# Flat lines


def test_flat_lines_hold_their_ink_between_their_ends() -> None:
    seen = 0
    for seed in range(90):
        samples = flats.draw_flats(rng(seed), FONTS)
        for sample in samples:
            assert_whole(sample, flats.FIELDS)
            start, end, bend = sample["span"]
            assert 0 < start < end < flats.COLUMNS
            assert label_of(sample) and sample["process"] in range(len(PROCESSES))
            if len(samples) == 1 and not set(sample["label"][: sample["count"]].tolist()) & MARKS:
                ink = np.flatnonzero(sample["mask"].max(axis=0) > 100)
                assert start - 14 < ink[0] < start + 14 and end - 14 < ink[-1] < end + 14
                rows = np.flatnonzero(sample["mask"].max(axis=1) > 100)
                assert abs(rows.mean() - flats.ROWS / 2) < 6 + abs(bend)
                seen += 1
    assert seen >= 12


def test_grounds_hold_pictures() -> None:
    pictures = [flats.draw_ground(rng(seed), ())[0]["pixels"] for seed in range(4)]
    assert all(p.shape == flats.GROUND_FIELDS[0].shape and p.dtype == np.uint8 for p in pictures)
    assert all(p.std() > 1 for p in pictures)


# Whole photos


def test_known_and_unknown_codes_are_apart_and_many_known_ones_have_near_neighbours() -> None:
    known, unknown = draw_codes(rng(), 200)
    keys = {code_key(code) for code in known}
    assert len(keys) == len(known) >= 195 and len(unknown) == 50
    assert not keys & {code_key(code) for code in unknown}
    for code in (*known, *unknown):
        assert any(c.isdigit() for c in code) and any(c.isalpha() for c in code)
        assert 4 <= len(code_key(code)) <= 9 and not parse_teeth(code)
    by_length = defaultdict(list)
    for key in keys:
        by_length[len(key)].append(key)
    near = [k for k in keys if any(sum(a != b for a, b in zip(k, o, strict=True)) == 1 for o in by_length[len(k)])]
    assert len(near) > 0.25 * len(keys)


def test_plans_say_what_their_words_show() -> None:
    generator = rng(2)
    known, unknown = draw_codes(generator, 120)
    plans = [plan_photo(generator, known, unknown) for _ in range(1500)]
    for plan in plans:
        shown = [words.shown for words in plan.words]
        if plan.code:
            assert any(plan.code in text for text in shown)
            assert plan.known == (plan.code in known) and (plan.code in unknown) != plan.known
            assert plan.variant is None or f"{plan.code} {plan.variant}" in shown
        else:
            assert plan.variant is None and not plan.known
        if plan.teeth:
            counts = "".join(map(str, plan.teeth))
            assert any(counts in "".join(c for c in text if c.isdigit()) for text in shown)
        assert plan.code or plan.spoilt or plan.teeth
    coded = [plan for plan in plans if plan.code]
    assert np.mean([plan.known for plan in coded]) == pytest.approx(0.78, abs=0.05)
    assert len(coded) / len(plans) == pytest.approx(0.84, abs=0.04)
    assert set(Counter(plan.spoilt for plan in plans)) == {None, "blank", "blur", "dark", "glare", "tiny"}


def test_legibility_goes_with_size_sharpness_and_contrast() -> None:
    plan = Plan((), "AB12", None, (), True, None, None)
    assert legibility(plan, {"seen": 3.0, "cap": 30, "blur": 0.01}) == "easy"
    assert legibility(plan, {"seen": 3.0, "cap": 12, "blur": 0.01}) == "medium"
    assert legibility(plan, {"seen": 3.0, "cap": 30, "blur": 0.09}) == "hard"
    assert legibility(plan, {"seen": 1.0, "cap": 30, "blur": 0.01}) == "hard"
    assert legibility(Plan((), None, None, (), False, "dark", None), {}) == "none"


def test_one_photo_is_the_same_for_one_seed_and_its_box_holds_the_code(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(photos, "SIZES", SMALL)
    plan = Plan((Words("KR-4817", "KR-4817", "code"),), "KR-4817", None, (), True, None, None)
    truths = []
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        truths.append(make_photo(5, plan, 3, FONTS, tmp_path / folder))
    assert truths[0] == truths[1]
    first, second = ((tmp_path / folder / "photo-005.jpg").read_bytes() for folder in ("one", "two"))
    assert first == second
    picture = cv2.imread(str(tmp_path / "one" / "photo-005.jpg"))
    x0, y0, x1, y1 = truths[0]["bbox"]
    assert 0 <= x0 < x1 <= picture.shape[1] and 0 <= y0 < y1 <= picture.shape[0]
    assert truths[0]["code"] == "KR-4817" and truths[0]["known"] and truths[0]["process"] in PROCESSES


@pytest.mark.parametrize("spoilt", ["blank", "dark"])
def test_spoilt_photos_state_no_code_and_no_box(monkeypatch, tmp_path: Path, spoilt: str) -> None:
    monkeypatch.setattr(photos, "SIZES", SMALL)
    plan = Plan((Words("KR-4817", "KR-4817", "code"),), None, None, (), False, spoilt, None)
    truth = make_photo(1, plan, 4, FONTS, tmp_path)
    assert (truth["code"], truth["bbox"], truth["legibility"]) == (None, None, "none")
    assert (truth["process"] is None) == (spoilt == "blank")
    if spoilt == "dark":
        assert cv2.imread(str(tmp_path / truth["file"])).mean() < 20


def test_a_set_is_written_whole_and_its_groups_show_one_code(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(photos, "SIZES", SMALL)
    family = next(name for name in ("clear", "dosis", "play") if is_held_out(name))
    (tmp_path / "fonts").mkdir()
    shutil.copy(FONTS[0], tmp_path / "fonts" / f"{family}__Vera.ttf")
    out = tmp_path / "out"
    arguments = ["photos", "--fonts", str(tmp_path / "fonts"), "--out", str(out), "--count", "12", "--seed", "17"]
    monkeypatch.setattr(sys, "argv", arguments)
    photos.main()
    truths = [json.loads(line) for line in (out / "truth.jsonl").read_text("utf-8").splitlines()]
    known = (out / "known_codes.txt").read_text("utf-8").split()
    assert [truth["file"] for truth in truths] == [f"photo-{n:03d}.jpg" for n in range(12)]
    assert all((out / truth["file"]).stat().st_size > 1000 for truth in truths)
    assert all(truth["known"] == (truth["code"] in known) for truth in truths)
    assert {truth["legibility"] for truth in truths} <= {"easy", "medium", "hard", "none"}
    groups = defaultdict(list)
    for truth in truths:
        if truth["group"]:
            groups[truth["group"]].append(truth)
    assert groups, "this seed drew two groups once; take another that does"
    for group in groups.values():
        assert len({(t["code"], t["variant"], tuple(t["teeth"]), t["process"]) for t in group}) == 1
        assert len({(out / t["file"]).read_bytes() for t in group}) == len(group), "each photo is one of its own"


def test_a_set_without_held_out_fonts_is_refused(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setattr(sys, "argv", ["photos", "--fonts", str(tmp_path), "--out", str(tmp_path / "out")])
    with pytest.raises(FontsMissing):
        photos.main()


# The feed

NUMBERED = (Field("number", (), "int32"), Field("picture", (64, 64), "uint8"), Field("row", (5,), "float32"))


def draw_numbered(generator: np.random.Generator, fonts) -> list[dict]:
    numbers = generator.integers(0, 200, 3)
    return [
        {"number": n, "picture": np.full((64, 64), n, np.uint8), "row": np.full(5, n / 4, np.float32)} for n in numbers
    ]


def test_samples_come_whole_from_every_process_and_the_memory_is_given_back() -> None:
    feed = Feed(draw_numbered, FONTS, NUMBERED, workers=2, seed=7, slots=16)
    names = [memory.name for memory in feed._memory]
    got = feed.take(500)
    feed.close()
    assert (got["picture"] == got["number"][:, None, None]).all()
    assert (got["row"] == got["number"][:, None] / 4).all()
    own = [set(np.random.default_rng((7, worker)).integers(0, 200, 3).tolist()) for worker in (0, 1)]
    assert all(numbers <= set(got["number"].tolist()) for numbers in own), "one of the processes gave nothing"
    for name in names:
        with pytest.raises(FileNotFoundError):
            shared_memory.SharedMemory(name)


def test_a_stopped_feed_leaves_no_memory_behind() -> None:
    feed = Feed(draw_numbered, FONTS, NUMBERED, workers=1, seed=1, slots=8)
    names = [memory.name for memory in feed._memory]
    feed.take(4)
    feed.stop()
    for name in names:
        with pytest.raises(FileNotFoundError):
            shared_memory.SharedMemory(name)
    feed.close()


# The comparison of readers


def test_the_comparison_counts_whole_lines_by_process_and_size() -> None:
    samples = compare.draw_samples(FONTS, 20, 1)
    assert all(sample["count"] for sample in samples[:20]) and not any(sample["count"] for sample in samples[20:])
    right = [compare.label_of(sample) for sample in samples]
    assert set(compare.figures(samples, right).values()) == {1.0}
    half = compare.figures(samples, ["?" if n % 2 else text for n, text in enumerate(right)])
    assert half["lines"] == half["no text"] == 0.5


def test_the_best_path_leaves_out_repeats_and_blanks() -> None:
    path = [0, 1, 1, 0, 1, 41, 29, 29, 41, 0]
    assert compare.text_of(np.eye(len(ALPHABET) + 1)[path]) == "AA 2"
