"""Simulated grids of stamped lines → codes with probabilities that stay honest. All codes are invented."""

import itertools
import time
from dataclasses import replace

import numpy as np
import pytest
from cogledger.extract.stamps import decode as decoder
from cogledger.extract.stamps.decode import Line, decode
from cogledger.extract.stamps.grids import BLANK, CLASSES, SignGrid, as_grid, class_of
from cogledger.extract.stamps.known import index_codes
from cogledger.extract.stamps.spans import Glance
from cogledger.extract.stamps.tuning import SureTuning, read_tuning
from hypothesis import given, settings
from hypothesis import strategies as st

TUNING = replace(read_tuning(), sure=SureTuning(slope=1.0, shift=0.0, clear=0.0, surest=7.0))
"""Without the fitted curve, which belongs to the shipped readers and not to simulated ones."""
STORE = [f"{head}{number}{tail}" for head in ("QVX", "MRK") for number in range(101, 900, 13) for tail in ("", "B")] + [
    f"KD-{number}" for number in range(1007, 9000, 97)
]


APART = [code for code in STORE if not code.endswith("B")]
"""None of these is the beginning of another."""


def simulate(text: str, sure: float = 0.98, doubts: dict[int, tuple[str, float]] | None = None, seed: int = 0):
    """The grid of a line as a reader would see it: each sign one or two steps, blanks between.

    ``doubts`` gives at places of ``text`` another sign and its share.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for place, sign in enumerate(text):
        rows += [row({}, rng) for _ in range(int(rng.integers(1, 3)))]
        other, share = (doubts or {}).get(place, ("", 0.0))
        peak = {sign: sure * (1 - share)} | ({other: sure * share} if other else {})
        rows += [row(peak, rng)]
    return as_grid(np.array([*rows, row({}, rng)]))


def row(peak: dict[str, float], rng: np.random.Generator) -> np.ndarray:
    shares = rng.dirichlet(np.full(CLASSES, 0.3)) * (0.02 if not peak else 1 - sum(peak.values()))
    for sign, share in peak.items():
        shares[class_of(sign)] += share
    shares[BLANK] += 1 - shares.sum()
    return shares


def mumble(seed: int, steps: int = 30) -> SignGrid:
    """A grid in which no sign is ever sure."""
    rng = np.random.default_rng(seed)
    return as_grid(rng.dirichlet(np.full(CLASSES, 0.15), steps))


def line(*grids: SignGrid, pose: object = "line") -> Line:
    return Line(pose, tuple(Glance(grid) for grid in grids))


def looks(text: str, count: int = 3, pose: object = "line", **how) -> Line:
    return line(*(simulate(text, seed=n, **how) for n in range(count)), pose=pose)


def answers(*lines: Line, known=STORE) -> list[tuple[str, bool, float]]:
    found = decode([lines], index_codes(known), TUNING)
    return [(v.key, v.known, v.chance) for v in found.verdicts]


def test_a_known_code_read_clearly_is_sure():
    key, known, chance = answers(looks("QVX218"))[0]
    assert (key, known) == ("QVX218", True) and chance >= 0.9


def test_other_lines_and_words_beside_it_do_no_harm():
    key, known, chance = answers(
        looks("HALDORN", pose=1), looks("QVX218 M", pose=2), looks("MADE IN TESK", pose=3), looks("XK 0624", pose=4)
    )[0]
    assert (key, known) == ("QVX218", True) and chance >= 0.9


def test_a_code_run_together_with_the_makers_name_is_found():
    key, known, chance = answers(looks("HALDORNQVX218"))[0]
    assert (key, known) == ("QVX218", True) and chance > 0.9


def test_the_line_that_holds_it_is_named():
    found = decode([[looks("HALDORN", pose="a"), looks("QVX218", pose="b")]], index_codes(STORE), TUNING)
    assert found.verdicts[0].pose == "b"


def test_a_clearly_legible_unknown_code_is_never_bent_to_a_known_neighbour():
    assert "QVX218" in STORE and "QVX213" not in STORE
    key, known, chance = answers(looks("QVX213"))[0]
    assert (key, known) == ("QVX213", False) and chance > 0.8


@pytest.mark.parametrize(("known", "code", "other"), [((), "QVX213", "QVX273"), (STORE, "KD4411", "KD4471")])
def test_an_unknown_code_that_two_of_five_looks_dispute_is_not_sure(known, code, other):
    agreed = line(*(simulate(code, seed=n) for n in range(5)))
    disputed = line(*(simulate(code if n < 3 else other, seed=n) for n in range(5)))
    assert answers(agreed, known=known)[0] > (code, False, 0.9)
    assert answers(disputed, known=known)[0] <= (code, False, 0.85)


@pytest.mark.parametrize("code", ["QVX214", "ZHW552", "KD4411", "T7120B"])
def test_a_legible_unknown_code_is_reported_as_read(code):
    key, known, _ = answers(looks(code))[0]
    assert (key, known) == (code, False)


@pytest.mark.parametrize("code", ["QVX417", "KD4411", "ZHW52", "A3204M"])
def test_without_a_store_a_legible_code_is_read(code):
    key, known, chance = answers(looks(code), known=())[0]
    assert (key, known) == (code, False) and chance > 0.5


def test_a_doubtful_sign_is_settled_by_the_known_codes():
    key, known, chance = answers(looks("QVX213", doubts={5: ("8", 0.4)}))[0]
    assert (key, known) == ("QVX218", True) and chance > 0.8


@pytest.mark.parametrize(
    "pair", [("QVX408", "QVX40B"), ("QVX510", "QVX51O"), ("QVX1S5", "QVX155"), ("KD12Z4", "KD1224")]
)
@pytest.mark.parametrize("share", [0.5, 0.4])
def test_known_near_neighbours_split_the_probability(pair, share):
    place = next(n for n, (a, b) in enumerate(zip(*pair, strict=True)) if a != b)
    found = answers(looks(pair[0], doubts={place: (pair[1][place], share)}), known=[*STORE, *pair])
    assert {key for key, _, _ in found[:2]} == set(pair)
    assert found[0][2] < 0.9 and found[1][2] > 0.05


def test_ovals_read_surely_still_leave_room_for_a_known_twin():
    found = {key: chance for key, _, chance in answers(looks("QVX510"), known=[*STORE, "QVX510", "QVX51O"])}
    assert found["QVX510"] > found["QVX51O"] > 0.03


def test_an_illegible_line_is_never_sure():
    for seed in range(12):
        found = answers(line(mumble(seed), mumble(seed + 100)))
        assert all(chance < 0.35 for _, _, chance in found)


def test_the_less_legible_the_less_sure():
    chances = []
    for doubt in (0.0, 0.5, 0.8, 0.97):
        doubts = {n: ("PYWZZQ"[n], doubt) for n in range(6)}
        found = {key: chance for key, _, chance in answers(looks("QVX218", doubts=doubts))}
        chances.append(found.get("QVX218", 0.0))
    assert all(later <= earlier + 0.02 for earlier, later in itertools.pairwise(chances))
    assert chances[0] > 0.9 > 0.3 > chances[-1]


@pytest.mark.parametrize(
    "texts",
    [
        ("XK 0624",),
        ("4 VW",),
        ("7 NE", "52T"),
        ("MADE IN TESK",),
        ("HALDORN",),
        ("0652",),
        ("50-34T", "VA 3459"),
        ("11-28",),
    ],
)
def test_lots_countries_makers_numbers_and_teeth_are_no_codes(texts):
    for store in (STORE, ()):
        found = answers(*(looks(text, pose=n) for n, text in enumerate(texts)), known=store)
        assert not found or found[0][2] < 0.35


def test_way_up_decides_between_two_readings():
    up, down = looks("QVX661", pose="up"), looks("QVX199", pose="down")
    found = decode(
        [[Line("up", up.glances, 0.0, surer=1.2), Line("down", down.glances, 0.0, surer=-1.2)]],
        index_codes(STORE),
        TUNING,
    )
    assert found.verdicts[0].key == "QVX661"


def test_nothing_seen_gives_nothing():
    assert decode([[]], index_codes(STORE), TUNING).verdicts == ()
    assert decode([[line(as_grid(np.eye(1, CLASSES)))]], index_codes(STORE), TUNING).verdicts == ()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["QVX218", "KD-2365", "QVX213", "52T"]))
def test_probabilities_are_of_one_whole(seed, text):
    rng = np.random.default_rng(seed)
    grids = [simulate(text, float(rng.uniform(0.3, 0.99)), seed=seed + n) for n in range(2)]
    found = decode([[line(*grids)]], index_codes(STORE), TUNING)
    chances = [verdict.chance for verdict in found.verdicts]
    assert all(0 <= chance <= 1 for chance in chances)
    assert sum(chances) + found.nothing == pytest.approx(1 if chances else found.nothing)


def chance_of(code: str, photos: list[list[Line]]) -> float:
    verdicts = decode(photos, index_codes(APART), TUNING).verdicts
    return next((v.chance for v in verdicts if v.key == code.replace("-", "")), 0.0)


def photos_of(code: str, seed: int) -> list[list[Line]]:
    """Two to four photos of a part, clear, dim, or useless, two looks each."""
    rng = np.random.default_rng(seed)
    return [
        [looks(code, count=2, sure=float(rng.uniform(0.25, 0.98)))]
        if rng.random() < 0.7
        else [line(mumble(seed + n), mumble(seed + n + 1000))]
        for n in range(int(rng.integers(2, 5)))
    ]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(APART))
def test_several_photos_of_a_part_are_hardly_ever_worse_than_the_best_of_them(seed, code):
    photos = photos_of(code, seed)
    best = max(chance_of(code, [photo]) for photo in photos)
    assert chance_of(code, photos) >= min(best, 0.97) - 0.2


def test_several_photos_of_a_part_are_no_worse_on_the_whole_than_the_surest_of_them():
    """What is right gets no less probability than from the photo whose answer is the surest, whichever that is."""
    gains, index = [], index_codes(APART)
    for seed in range(30):
        code = APART[7 * seed % len(APART)]
        photos = photos_of(code, seed)
        answers = [decode([photo], index, TUNING).verdicts[:1] for photo in photos]
        surest = max(range(len(photos)), key=lambda n: answers[n][0].chance if answers[n] else 0.0)
        gains.append(chance_of(code, photos) - chance_of(code, [photos[surest]]))
    assert np.mean(gains) > -0.01


def test_what_is_long_and_stands_on_every_photo_does_not_outweigh_the_code():
    photos = [[looks("QVX218 12-42T", count=2)] for _ in range(3)]
    verdict = decode(photos, index_codes(STORE), TUNING).verdicts[0]
    assert verdict.key == "QVX218" and verdict.chance > 0.9


def test_photos_that_differ_are_less_sure():
    first, second, other = (looks(text, sure=0.5) for text in ("QVX218", "QVX218", "MRK335"))
    agreed, differing = chance_of("QVX218", [[first], [second]]), chance_of("QVX218", [[first], [other]])
    assert differing < chance_of("QVX218", [[first]]) and differing < 0.9 < agreed


def test_the_printed_form_keeps_its_hyphen():
    index = index_codes(["KD-4411"])
    assert decoder.printed_form(looks("KD-4411 M"), "KD4411", index_codes(())) == "KD-4411"
    assert decoder.printed_form(looks("HALDORN KD-4411"), "KD4411", index_codes(())) == "KD-4411"
    assert decoder.printed_form(looks("KD4411"), "KD4411", index) == "KD-4411"


@pytest.mark.parametrize(
    ("text", "variant"),
    [("QVX218 M", "M"), ("QVX218 S", "S"), ("QVX218 V2", "V2"), ("QVX218", None), ("QVX218 R", None),
     ("QVX218 *", None), ("QVX218 50-34T", None), ("QVX218M", "M"), ("HALDORN QVX218 L", "L"), ("QVX218 A", "A")],
)  # fmt: skip
def test_the_variant_is_the_size_or_version_letter_behind_the_code(text, variant):
    assert decoder.variant_of(looks(text), "QVX218", index_codes(STORE), TUNING.decode) == variant


def test_the_stores_variants_of_the_code_are_preferred():
    doubtful = looks("QVX218 H", doubts={7: ("K", 0.4)})
    assert decoder.variant_of(doubtful, "QVX218", index_codes(STORE), TUNING.decode) is None
    assert decoder.variant_of(doubtful, "QVX218", index_codes([*STORE, "QVX218 K"]), TUNING.decode) == "K"


def test_a_photo_is_decoded_quickly():
    lines = [looks(text, count=4, pose=text) for text in ("HALDORN", "QVX218 M", "50-34T", "XK 0624", "MADE IN TESK")]
    index = index_codes(STORE)
    decode([lines], index, TUNING)
    start = time.process_time()
    decode([lines], index, TUNING)
    assert time.process_time() - start < 0.6, "0.15 s are meant; four times that for slow machines"
