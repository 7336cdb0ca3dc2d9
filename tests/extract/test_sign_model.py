"""The shipped network that reads signs: its file, the form of its answers, and what it reads in faces new to it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import cv2
import numpy as np
import pytest
import reportlab
from cogledger.extract.stamps import networks
from cogledger.extract.stamps.grids import ALPHABET, CLASSES, CUT_HEIGHT_PX, SignGrid
from cogledger.extract.stamps.rectify import upside_down
from cogledger.extract.stamps.sign_model import STEP_PX, SignModel, _as_input
from cogledger.extract.stamps.spans import Glance
from cogledger.schema.errors import InstallationError
from cogledger.schema.reasons import Reason
from PIL import Image, ImageDraw, ImageFont

FACES = Path(reportlab.__file__).parent / "fonts"
UNSEEN = ("_a______.pfb", "_eb_____.pfb", "com_____.pfb")
"""Type 1 faces of reportlab (a grotesque, a bold serif, a typewriter); the training draws with none of these files."""
CAP_PX, MARGIN_PX = 24, 12
LARGEST_FILE = 15_000_000
DARK_ON_LIGHT, LIGHT_ON_DARK = ((25, 25, 25), (200, 196, 190)), ((230, 230, 235), (60, 64, 70))
SHAPES = ("AAA999", "AA-999", "A99-AA9", "99-99T", "AAAAAA", "999999")


@pytest.fixture(scope="module")
def model() -> SignModel:
    return SignModel()


def file_of_reader() -> Path:
    return Path(networks.__file__).parent / "models" / "reader.onnx"


def printed(text: str, face: str = UNSEEN[0], ink=DARK_ON_LIGHT[0], ground=DARK_ON_LIGHT[1]) -> np.ndarray:
    """Text as a level cut shows it: capitals 24 px high in the middle of 40."""
    trial = ImageFont.truetype(str(FACES / face), 100)
    font = ImageFont.truetype(str(FACES / face), 100 * CAP_PX / -trial.getbbox("H", anchor="ls")[1])
    picture = Image.new("RGB", (round(font.getlength(text)) + 2 * MARGIN_PX, CUT_HEIGHT_PX), ground)
    base = (CUT_HEIGHT_PX + CAP_PX) // 2
    ImageDraw.Draw(picture).text((MARGIN_PX, base), text, font=font, fill=ink, anchor="ls")
    return np.asarray(picture)


def stroked(text: str) -> np.ndarray:
    """The same in OpenCV's own plotter letters (after Hershey, 1967), single strokes."""
    face, thick = cv2.FONT_HERSHEY_SIMPLEX, 4
    scale = cv2.getFontScaleFromHeight(face, 2 * CAP_PX, thick)
    (width, _), _ = cv2.getTextSize(text, face, scale, thick)
    picture = np.full((2 * CUT_HEIGHT_PX, width + 4 * MARGIN_PX, 3), 205, np.uint8)
    cv2.putText(picture, text, (2 * MARGIN_PX, CUT_HEIGHT_PX + CAP_PX), face, scale, (20,) * 3, thick, cv2.LINE_AA)
    return cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


def random_codes(count: int, seed: int) -> list[str]:
    """Strings of the shapes of codes and tooth counts; no O, I and Q, which some faces draw like 0, 1 and O."""
    rng = np.random.default_rng(seed)
    pools = {"A": "ABCDEFGHJKLMNPRSTUVWXYZ", "9": "0123456789"}
    shapes = [SHAPES[n % len(SHAPES)] for n in range(count)]
    return ["".join(str(rng.choice(list(pools.get(kind, kind)))) for kind in shape) for shape in shapes]


def texts(grids: Iterable[SignGrid]) -> list[str]:
    return ["".join(sign.text for sign in Glance(grid).signs).strip() for grid in grids]


def share_right(read: list[str], wanted: list[str]) -> float:
    return float(np.mean([one == other for one, other in zip(read, wanted, strict=True)]))


def test_the_file_is_small_and_names_its_signs() -> None:
    assert file_of_reader().stat().st_size <= LARGEST_FILE
    assert networks.load(networks.READER).get_modelmeta().custom_metadata_map["signs"] == ALPHABET


def test_a_reader_of_other_signs_is_refused(monkeypatch, tmp_path: Path) -> None:
    whole = file_of_reader().read_bytes()
    assert whole.count(ALPHABET.encode()) == 1
    other = tmp_path / "reader.onnx"
    other.write_bytes(whole.replace(ALPHABET.encode(), ALPHABET[::-1].encode()))
    monkeypatch.setattr(networks, "_path", lambda name: other)
    with pytest.raises(InstallationError, match=r"reader\.onnx tells other signs") as caught:
        networks.load.__wrapped__(networks.READER)
    assert caught.value.fault.reason is Reason.ENGINE_MISSING
    assert "install cogledger again" in str(caught.value)


@pytest.mark.parametrize("width", [1, 2, 3, 4, 5, 15, 16, 17, 39, 40, 41, 383, 384, 385, 1600])
def test_cuts_of_any_width_give_log_probabilities(model: SignModel, width: int) -> None:
    cut = np.random.default_rng(width).integers(0, 256, (CUT_HEIGHT_PX, width, 3), dtype=np.uint8)
    (grid,) = model.read([cut])
    assert grid.shares.shape == (-(-width // STEP_PX), CLASSES)
    assert grid.shares.dtype == np.float32
    assert np.isfinite(grid.shares).all()
    assert np.exp(grid.shares.astype(float)).sum(axis=1) == pytest.approx(1.0, abs=1e-4)


def test_no_cuts_give_no_grids(model: SignModel) -> None:
    assert model.read([]) == []


def test_a_cut_reads_the_same_in_any_company(model: SignModel) -> None:
    codes = random_codes(24, 5)
    cuts = [printed(code, UNSEEN[n % 3]) for n, code in enumerate(codes)]
    wide = printed(" ".join(codes[:6]))
    together = model.read([*cuts, wide, cuts[0][:, :3], *reversed(cuts)])
    alone = [model.read([cut])[0] for cut in cuts]
    for one, first, last in zip(alone, together[:24], together[:-25:-1], strict=True):
        for other in (first, last):
            assert other.steps == one.steps
            assert np.abs(np.exp(one.shares) - np.exp(other.shares)).max() < 0.05
    assert texts(together[:24]) == texts(alone)


def test_how_wide_the_padding_is_matters_little_beyond_what_every_cut_gets(model: SignModel) -> None:
    cut = printed("BZ1768")
    (alone,) = model.read([cut])
    for more in (60, 250, 900):
        padded = np.zeros((1, 3, CUT_HEIGHT_PX, cut.shape[1] + more), np.float32)
        padded[0, :, :, : cut.shape[1]] = _as_input(cut)
        shares = networks.run(networks.READER, padded)[0, : alone.steps]
        assert np.abs(np.exp(shares) - np.exp(alone.shares)).max() < 0.03


def test_brightness_and_contrast_alone_do_not_change_what_is_read(model: SignModel) -> None:
    codes = random_codes(12, 6)
    cuts = [printed(code) for code in codes]
    dim = [(cut * 0.35 + 10).astype(np.uint8) for cut in cuts]
    assert texts(model.read(dim)) == texts(model.read(cuts))


@pytest.mark.parametrize("face", UNSEEN)
@pytest.mark.parametrize(("ink", "ground"), [DARK_ON_LIGHT, LIGHT_ON_DARK])
def test_clean_print_in_faces_not_seen_in_training_is_read(model: SignModel, face: str, ink, ground) -> None:
    codes = random_codes(48, 7)
    assert share_right(texts(model.read([printed(code, face, ink, ground) for code in codes])), codes) >= 0.9


def test_plotter_letters_not_seen_in_training_are_read(model: SignModel) -> None:
    codes = random_codes(48, 8)
    assert share_right(texts(model.read([stroked(code) for code in codes])), codes) >= 0.85


def test_small_letters_read_as_capitals(model: SignModel) -> None:
    words = ["kernel", "bramble", "figment", "dart", "quadrant"]
    assert share_right(texts(model.read([printed(word) for word in words])), [w.upper() for w in words]) >= 0.8


def test_blurred_noisy_print_is_mostly_read(model: SignModel) -> None:
    rng = np.random.default_rng(9)
    codes = random_codes(48, 9)
    cuts = []
    for code in codes:
        soft = cv2.GaussianBlur(printed(code, UNSEEN[0], (90, 92, 95), (160, 158, 150)).astype(np.float32), (0, 0), 1.3)
        cuts.append(np.clip(soft + rng.normal(0, 8, soft.shape), 0, 255).astype(np.uint8))
    assert share_right(texts(model.read(cuts)), codes) >= 0.8


def test_signs_stand_where_their_steps_say(model: SignModel) -> None:
    """The search for codes within a line cuts the grid between signs, so that their steps must be true to place."""
    cut = printed("TH M")
    grid = model.read([cut])[0]
    dark = np.flatnonzero(cut.min(axis=(0, 2)) < 100)
    signs = [sign for sign in Glance(grid).signs if sign.text != " "]
    assert "".join(sign.text for sign in signs) == "THM"
    assert abs(signs[0].middle * STEP_PX - (dark[0] + 8)) < 10
    assert abs(signs[-1].middle * STEP_PX - (dark[-1] - 12)) < 10


def test_cuts_without_signs_read_as_nothing(model: SignModel) -> None:
    rng = np.random.default_rng(11)
    plain = [np.full((CUT_HEIGHT_PX, width, 3), level, np.uint8) for width in (8, 60, 300) for level in (0, 90, 255)]
    noise = [np.clip(rng.normal(120, 9, (CUT_HEIGHT_PX, w, 3)), 0, 255).astype(np.uint8) for w in (40, 90, 200, 380)]
    clouds = [cv2.GaussianBlur(rng.integers(0, 256, cut.shape, dtype=np.uint8), (0, 0), 9.0) for cut in noise]
    slopes = [np.repeat(np.linspace(30, 220, w).astype(np.uint8)[None, :, None], 40, 0).repeat(3, 2) for w in (50, 250)]
    assert set(texts(model.read([*plain, *noise, *clouds, *slopes]))) == {""}


def test_print_on_its_head_is_mostly_left_unread(model: SignModel) -> None:
    """Signs that look like others upside down (H, 8, 6 and 9 …) are left out; the rest are no signs at all."""
    rng = np.random.default_rng(12)
    words = ["".join(rng.choice(list("AFGJKRTY234"), 6)) for _ in range(32)]
    read = texts(model.read([upside_down(printed(word, UNSEEN[0])) for word in words]))
    assert np.mean([len(text) for text in read]) < 2.0
    assert texts(model.read([printed(word, UNSEEN[0]) for word in words])) == words
