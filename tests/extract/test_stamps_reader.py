"""Whole photos → readings: drawn plates with the shipped readers, and with readers made up for each case."""

from collections.abc import Sequence

import numpy as np
import pytest
from cogledger.extract.records import StampReading
from cogledger.extract.stamps import advise, read_photos
from cogledger.extract.stamps.decode import Line
from cogledger.extract.stamps.grids import BLANK, CLASSES, CUT_HEIGHT_PX, SignGrid, as_grid, class_of
from cogledger.extract.stamps.known import index_codes
from cogledger.extract.stamps.linebox import LineBox
from cogledger.extract.stamps.ppocr_reader import PpocrSignReader, _folding
from cogledger.extract.stamps.reader import SeenPhoto, _same_block, answer
from cogledger.extract.stamps.recognise import Pose
from cogledger.extract.stamps.spans import Glance
from cogledger.extract.stamps.tuning import read_tuning
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


def grid_of(text: str, sure: float = 0.97) -> SignGrid:
    """A grid that reads ``text``: a blank and a sign in turn."""
    shares = np.zeros((2 * len(text) + 1, CLASSES))
    shares[::2, BLANK] = 1.0
    for place, sign in enumerate(text):
        shares[2 * place + 1, BLANK] = 1 - sure
        shares[2 * place + 1, class_of(sign)] = sure
    return as_grid(shares)


class Told:
    """A reader that says the same of every cut."""

    name = "told"

    def __init__(self, text: str, sure: float = 0.97):
        self.grid = grid_of(text, sure)
        self.cuts: list[tuple[int, ...]] = []

    def read(self, cuts: Sequence[np.ndarray]) -> list[SignGrid]:
        self.cuts += [cut.shape for cut in cuts]
        return [self.grid for _ in cuts]


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
    reading = only(read_photos([path], readers=[Told("52T")]))
    assert reading.code is None and reading.teeth == (52,)
    assert reading.advice == advise.ONLY_TEETH


def test_doubtful_signs_give_no_code(tmp_path):
    path = photo(tmp_path, "worn.png", "QVX417")
    reading = only(read_photos([path], ["QVX417", "MRK552"], readers=[Told("WI07X1", sure=0.3)]))
    assert reading.code is None and reading.confidence == 0


def test_readers_are_handed_colour_cuts_of_the_agreed_height(tmp_path):
    told = Told("QVX417")
    only(read_photos([photo(tmp_path, "a.png", "QVX417")], ["QVX417"], readers=[told]))
    assert told.cuts and all(rows == CUT_HEIGHT_PX and channels == 3 for rows, _, channels in told.cuts)


def test_several_readers_are_weighed_together(tmp_path):
    path = photo(tmp_path, "a.png", "QVX417")
    agreed = only(read_photos([path], ["QVX417", "QVX411"], readers=[Told("QVX417"), Told("QVX417")]))
    split = only(read_photos([path], ["QVX417", "QVX411"], readers=[Told("QVX417"), Told("QVX411")]))
    assert agreed.code == "QVX417" and agreed.confidence > 0.8
    assert split.confidence < agreed.confidence - 0.2


def test_photos_of_one_part_are_brought_together(tmp_path):
    paths = [photo(tmp_path, name, "QVX417", blur=blur) for name, blur in (("a.png", 9.0), ("b.png", 0.6))]
    apart = read_photos(paths, ["QVX417", "MRK552"])
    together = only(read_photos(paths, ["QVX417", "MRK552"], same_part=True))
    assert [reading.file for reading in apart] == ["a.png", "b.png"]
    assert (together.code, together.file, together.files) == ("QVX417", "b.png", ("a.png", "b.png"))
    assert together.confidence >= apart[1].confidence - 0.05


def test_a_reading_tells_where_its_line_stands(tmp_path):
    reading = only(read_photos([photo(tmp_path, "a.png", "QVX417", angle=30)], ["QVX417"]))
    place = reading.place
    assert place is not None and abs(place.x - 550) < 40 and abs(place.y - 420) < 60
    assert abs((place.angle - 30 + 180) % 360 - 180) < 10


def test_teeth_come_with_how_sure_they_are(tmp_path):
    reading = only(read_photos([photo(tmp_path, "a.png", "QVX417", "50-34T")], ["QVX417"]))
    assert reading.teeth == (50, 34)
    assert reading.teeth_confidence is not None and reading.teeth_confidence > 0.9
    bare = only(read_photos([photo(tmp_path, "b.png", "QVX417")], ["QVX417"]))
    assert bare.teeth == () and bare.teeth_confidence is None


def test_no_photos_give_no_readings():
    assert read_photos([]) == []
    assert read_photos([], same_part=True) == []


def test_a_file_that_is_no_photo_is_named(tmp_path):
    path = tmp_path / "note.jpg"
    path.write_text("not a picture")
    with pytest.raises(DocumentError) as caught:
        read_photos([path])
    assert caught.value.fault.reason is Reason.WRONG_TYPE and "note.jpg" in str(caught.value)


def test_a_missing_model_is_a_fault_of_the_installation(tmp_path, monkeypatch):
    from cogledger.extract.engines import ppocr

    monkeypatch.setattr(ppocr, "model_path", lambda part="rec": None)
    ppocr.probe.cache_clear()
    _folding.cache_clear()
    with pytest.raises(InstallationError):
        read_photos([photo(tmp_path, "rear.png", "QVX417")], readers=[PpocrSignReader()])


def test_a_failing_reader_names_the_photo(tmp_path):
    class Failing(Told):
        def read(self, cuts):
            raise DocumentError(Reason.ENGINE_FAILED, "the model failed")

    with pytest.raises(DocumentError) as caught:
        read_photos([photo(tmp_path, "rear.png", "QVX417")], readers=[Failing("")])
    assert caught.value.fault.reason is Reason.ENGINE_FAILED and str(caught.value).startswith("rear.png")


@pytest.mark.parametrize(
    ("angles", "flipped", "same"),
    [
        ((10.0, 12.0), (False, False), True),
        ((10.0, 12.0), (False, True), False),
        ((89.0, -89.0), (False, True), True),
        ((89.0, -89.0), (False, False), False),
        ((359.0, 1.0), (True, True), True),
        ((0.0, 30.0), (False, False), False),
    ],
)
def test_lines_of_one_block_read_the_same_way_however_their_boxes_are_turned(angles, flipped, same):
    code, teeth = (
        Pose(LineBox(500.0 + 60 * n, 500.0, 200.0, 40.0, angle, 1.0), up)
        for n, (angle, up) in enumerate(zip(angles, flipped, strict=True))
    )
    assert _same_block(code, teeth) is same and _same_block(teeth, code) is same


@pytest.mark.parametrize("sure", [0.05, 0.3, 0.45, 0.5, 0.52, 0.55, 0.6])
def test_a_photo_without_any_line_has_no_say_in_what_others_show(sure):
    line = Line(
        Pose(LineBox(500.0, 500.0, 200.0, 40.0, 0.0, 1.0), False), (Glance(grid_of("QVX417", sure), "told"),), 0.0
    )
    bare, shown = SeenPhoto("bare.png", (), lambda: "bare"), SeenPhoto("shown.png", (line,), lambda: "shown")
    known, tuning = index_codes(["QVX417"]), read_tuning()
    together, alone = answer([bare, shown], known, tuning), answer([shown], known, tuning)
    assert together.file == "shown.png" and together.files == ("bare.png", "shown.png")
    assert (together.code, together.candidates, together.advice) == (alone.code, alone.candidates, alone.advice)
