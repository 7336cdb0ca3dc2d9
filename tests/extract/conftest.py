"""Pages drawn for a test, with their origin at the top left; every maker and code on them is invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pypdfium2 as pdfium
import pytest
from cogledger.extract.pages import open_page, open_pdf
from cogledger.extract.pipeline import read_source
from cogledger.extract.records import PageContent, Reading
from cogledger.extract.sources import find_sources
from cogledger.extract.textlayer import read_text_page
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

A4 = (595.3, 841.9)


class Pen:
    """A PDF that is drawn on in points from the top left."""

    def __init__(self, path: Path, size: tuple[float, float] = A4, **options: object) -> None:
        self.path, self.width, self.height = path, *size
        self.canvas = Canvas(str(path), pagesize=size, invariant=1, **options)

    def text(self, x: float, y: float, words: str, size: float = 10, bold: bool = False, font: str = "Helvetica"):
        """``words`` from ``x`` on with their baseline at ``y``."""
        self.canvas.setFont(f"{font}-Bold" if bold else font, size)
        self.canvas.drawString(x, self.height - y, words)

    def right(self, x: float, y: float, words: str, size: float = 10, bold: bool = False):
        """``words`` that end at ``x``."""
        self.text(x - stringWidth(words, "Helvetica-Bold" if bold else "Helvetica", size), y, words, size, bold)

    def line(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.6):
        self.canvas.setLineWidth(width)
        self.canvas.line(x0, self.height - y0, x1, self.height - y1)

    def picture(self, image: object, box: tuple[float, float, float, float]):
        x0, top, x1, bottom = box
        self.canvas.drawImage(ImageReader(image), x0, self.height - bottom, x1 - x0, bottom - top)

    def table(self, rows: Sequence[Sequence[str]], x: float = 50, y: float = 120, *, ruled: bool = True,
              row_height: float = 22, widths: Sequence[float] | None = None, borders: str = "lrtb",
              size: float = 9) -> None:  # fmt: skip
        """A table, its first row bold; a cell of several lines is parted at the line feeds."""
        widths = widths or [max(stringWidth(p, "Helvetica-Bold", size) for r in rows for p in r[n].split("\n")) + 16
                            for n in range(len(rows[0]))]  # fmt: skip
        lefts = [x + sum(widths[:n]) for n in range(len(widths) + 1)]
        heights = [row_height + (size + 2) * (max(c.count("\n") for c in row)) for row in rows]
        tops = [y + sum(heights[:n]) for n in range(len(heights) + 1)]
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                for n, piece in enumerate(cell.split("\n")):
                    self.text(lefts[c] + 5, tops[r] + 14 + n * (size + 2), piece, size, bold=r == 0)
        if ruled:
            for n, place in enumerate(tops):
                if (n > 0 or "t" in borders) and (n < len(tops) - 1 or "b" in borders):
                    self.line(lefts[0], place, lefts[-1], place)
            for n, place in enumerate(lefts):
                if (n > 0 or "l" in borders) and (n < len(lefts) - 1 or "r" in borders):
                    self.line(place, tops[0], place, tops[-1])

    def page(self) -> None:
        self.canvas.showPage()

    def save(self, turn: int = 0) -> Path:
        """The finished file; ``turn`` becomes the Rotate entry of every page."""
        self.canvas.save()
        if turn:
            with pdfium.PdfDocument(self.path.read_bytes()) as document:
                for page in document:
                    page.set_rotation(turn)
                    page.close()
                document.save(self.path)
        return self.path


@pytest.fixture(scope="session")
def pen_class() -> type[Pen]:
    """For tests that draw many times over."""
    return Pen


@pytest.fixture
def pen(tmp_path: Path) -> Callable[..., Pen]:
    """A new PDF of that name to draw on."""

    def new(name: str = "drawn.pdf", size: tuple[float, float] = A4, **options: object) -> Pen:
        return Pen(tmp_path / name, size, **options)

    return new


@pytest.fixture
def contents() -> Callable[[Path], list[PageContent]]:
    """The words and rules of every page of a PDF."""

    def read(path: Path) -> list[PageContent]:
        with open_pdf(path) as document:
            found = []
            for number in range(1, len(document) + 1):
                with open_page(document, number, path.name) as page:
                    found.append(read_text_page(page, number))
            return found

    return read


@pytest.fixture
def read() -> Callable[[Path], Reading]:
    """Everything that a file states."""

    def whole(path: Path) -> Reading:
        sources, faults = find_sources([path])
        assert not faults
        return read_source(sources[0])

    return whole


@pytest.fixture
def said(read: Callable[[Path], Reading]) -> Callable[[Path], set[tuple[object, ...]]]:
    """What a file's claims say, without places and confidence."""

    def of(path: Path) -> set[tuple[object, ...]]:
        return {(c.part_kind, c.part_code, c.variant, c.limit, c.low, c.high, c.values, c.text,
                 tuple(sorted((c.condition or {}).items()))) for c in read(path).claims}  # fmt: skip

    return of
