"""Whole photos → readings: with tesseract on drawn plates, and with a recogniser made up for each case."""

from collections.abc import Sequence

import numpy as np
import pytest
from cogledger.extract.records import StampReading
from cogledger.extract.stamps import advise, read_photos
from cogledger.extract.stamps.locate import LineBox
from cogledger.extract.stamps.recognise import Look, Pose
from cogledger.schema.errors import DocumentError, InstallationError
from cogledger.schema.reasons import Reason
from PIL import Image, ImageDraw, ImageFilter, ImageFont


def photo(folder, name: str, *lines: str, angle: float = 0.0, ink: int = 25, blur: float = 0.6):
    picture = Image.new("L", (1100, 900), 150)
    draw = ImageDraw.Draw(picture)
    for index, line in enumerate(lines):
        draw.text((550, 420 + 66 * index), line, fill=ink, font=ImageFont.load_default(42), anchor="mm")
    picture = picture.rotate(-angle, resample=Image.Resampling.BICUBIC, fillcolor=150)
    picture = picture.filter(ImageFilter.GaussianBlur(blur))
    noise = np.random.default_rng(5).normal(0, 3.0, (900, 1100))
    path = folder / name
    Image.fromarray(np.clip(np.asarray(picture) + noise, 0, 255).astype(np.uint8)).save(path)
    return path


class Told:
    """A recogniser that reads the same looks at every pose that is not flipped, and nothing else."""

    def __init__(self, *texts: str, confidence: float = 0.9):
        self.looks = tuple(Look(tuple(text.split()), confidence) for text in texts)

    def glance(self, pixels: np.ndarray, poses: Sequence[Pose]) -> list[tuple[Look, ...]]:
        return [() if pose.flipped else self.looks[:2] for pose in poses]

    def study(self, pixels: np.ndarray, poses: Sequence[Pose]) -> list[tuple[Look, ...]]:
        return [() if pose.flipped else self.looks for pose in poses]


def only(readings: list[StampReading]) -> StampReading:
    (reading,) = readings
    return reading


@pytest.mark.parametrize(("angle", "ink"), [(0, 25), (20, 245), (180, 25), (-90, 245)])
def test_a_plate_is_read_at_any_angle(tmp_path, angle, ink):
    path = photo(tmp_path, "rear.png", "QVX417", angle=angle, ink=ink)
    reading = only(read_photos([path], ["QVX417", "MRK552", "TAB901"]))
    assert (reading.file, reading.code, reading.variant, reading.teeth) == ("rear.png", "QVX417", None, ())
    assert reading.confidence > 0.7 and reading.candidates[0].known and reading.advice is None
    box = reading.bbox
    assert (box and box.x0 < 550 < box.x1) or (box and box.top < 450 < box.bottom)


def test_code_variant_and_teeth_beside_maker_and_country(tmp_path):
    path = photo(tmp_path, "crank.png", "HALDORN", "QVX417   M", "50-34T", angle=8)
    reading = only(read_photos([path]))
    assert (reading.code, reading.variant, reading.teeth) == ("QVX417", "M", (50, 34))
    assert not reading.candidates[0].known


def test_an_empty_plate_gives_no_code_and_says_what_to_do(tmp_path):
    reading = only(read_photos([photo(tmp_path, "bare.png")], ["QVX417"]))
    assert reading.code is None and reading.confidence == 0 and reading.bbox is None
    assert reading.advice


def test_tooth_counts_alone_are_no_code(tmp_path):
    path = photo(tmp_path, "ring.png", "52T")
    reading = only(read_photos([path], recogniser=Told(*["52T"] * 16)))
    assert reading.code is None and reading.teeth == (52,)
    assert reading.advice == advise.ONLY_TEETH


def test_doubtful_signs_give_no_code(tmp_path):
    path = photo(tmp_path, "worn.png", "QVX417")
    told = Told("QX1", "V41", "0VK4", "WX4T7", "AVX9", "Q", "", "4I7", confidence=0.05)
    assert only(read_photos([path], ["QVX417", "MRK552"], recogniser=told)).code is None


def test_photos_of_one_part_are_brought_together(tmp_path):
    paths = [photo(tmp_path, name, "QVX417") for name in ("a.png", "b.png")]

    class Differing(Told):
        def __init__(self):
            super().__init__()
            self.turn = 0

        def glance(self, pixels, poses):
            self.turn += 1
            text = ("QVX417", "0VX4I7")[self.turn - 1]
            self.looks = tuple(Look((text,), 0.7) for _ in range(10))
            return super().glance(pixels, poses)

    apart = read_photos(paths, ["QVX417", "MRK552"], recogniser=Differing())
    together = only(read_photos(paths, ["QVX417", "MRK552"], same_part=True, recogniser=Differing()))
    assert [reading.file for reading in apart] == ["a.png", "b.png"]
    assert together.code == "QVX417" and together.file == "a.png"
    assert together.confidence >= apart[1].confidence


def test_no_photos_give_no_readings():
    assert read_photos([]) == []
    assert read_photos([], same_part=True) == []


def test_a_file_that_is_no_photo_is_named(tmp_path):
    path = tmp_path / "note.jpg"
    path.write_text("not a picture")
    with pytest.raises(DocumentError) as caught:
        read_photos([path])
    assert caught.value.fault.reason is Reason.WRONG_TYPE and "note.jpg" in str(caught.value)


def test_a_missing_recogniser_is_a_fault_of_the_installation(tmp_path, monkeypatch):
    from cogledger.extract.engines import tesseract

    def missing():
        raise InstallationError(Reason.ENGINE_MISSING, "no working tesseract was found")

    monkeypatch.setattr(tesseract, "probe", missing)
    with pytest.raises(InstallationError):
        read_photos([photo(tmp_path, "rear.png", "QVX417")])


def test_a_failing_recogniser_names_the_photo(tmp_path):
    class Failing(Told):
        def glance(self, pixels, poses):
            raise DocumentError(Reason.ENGINE_FAILED, "tesseract stopped with code 3")

    with pytest.raises(DocumentError) as caught:
        read_photos([photo(tmp_path, "rear.png", "QVX417")], recogniser=Failing())
    assert caught.value.fault.reason is Reason.ENGINE_FAILED and str(caught.value).startswith("rear.png")


def scene(blur: float = 0.6) -> np.ndarray:
    """A plate with sharp edges and signs on it."""
    picture = Image.new("RGB", (1000, 800), (90, 110, 100))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((200, 200, 800, 600), fill=(170, 170, 175))
    draw.text((500, 400), "QVX417", fill=(30, 30, 30), font=ImageFont.load_default(60), anchor="mm")
    return np.array(picture.filter(ImageFilter.GaussianBlur(blur)))


def test_advice_names_the_defect():
    line = LineBox(500, 400, 240, 70, 0, 1)
    glaring = scene()
    glaring[150:550, 300:800] = 255
    assert advise.advise((scene() * 0.15).astype(np.uint8), line) == advise.DARK
    assert advise.advise(glaring, line) == advise.GLARE
    assert advise.advise(scene(blur=12), line) == advise.BLUR
    assert advise.advise(scene(), LineBox(500, 400, 20, 4, 0, 1)) == advise.SMALL
    assert advise.advise(scene(), LineBox(20, 400, 240, 70, 0, 1)) == advise.CUT_OFF
    assert advise.advise(scene(), line) == advise.NOTHING
    assert advise.advise(scene(), None) == advise.NOTHING
