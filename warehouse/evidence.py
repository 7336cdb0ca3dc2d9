"""A claim → the picture of its place: the page around the value, the value framed, and beneath it what was read.

Readings of photos have pictures of their own, see ``stamp_evidence``.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw, ImageFont

from ..schema.claims import Box, Claim, State
from ..schema.errors import CallError, DocumentError, StoreError
from ..schema.reasons import Reason
from .files import put_whole
from .register import ToldClaim, find_claim
from .shared_pictures import find_shared_picture
from .stamp_evidence import draw_kept_stamp
from .stamps import StampRow, is_stamp_id
from .store import Store
from .wording import drawable, show_condition, show_value

_DPI = 150.0
_POINTS_PER_INCH = 72.0
_INK, _PAPER, _FRAME, _MUTED = (28, 32, 38), (246, 244, 239), (200, 60, 30), (96, 102, 110)
_STATE_WORDS = {
    State.READ: "as read, not yet looked at by a person", State.CONFIRMED: "confirmed by a person",
    State.CORRECTED: "corrected by a person", State.REJECTED: "rejected by a person: not used",
    State.HELD_BACK: "held back: not used",
}  # fmt: skip


@dataclass(frozen=True)
class Look:
    """Sizes of the picture in pixels: its width, the page shown above and below the value, frame, text."""

    width: int = 1200
    around: int = 340
    frame: int = 4
    gap: int = 8
    text: int = 22
    margin: int = 24


@dataclass(frozen=True)
class Evidence:
    """Where the picture is, and the claim that it shows."""

    out: Path
    told: ToldClaim

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``evidence``."""
        return {"file": str(self.out), "claim": self.told.as_json()}


@dataclass(frozen=True)
class StampEvidence:
    """Where the picture is, and the reading of a photo that it shows."""

    out: Path
    stamp: StampRow

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``evidence``."""
        return {"file": str(self.out), "stamp": self.stamp.as_json()}


def make_evidence(store: Store, asked: str, out: Path, look: Look | None = None) -> Evidence | StampEvidence:
    """Write the picture of the place that a claim, or the reading of a photo, comes from, as PNG.

    :param asked: the id of a claim or of a reading, or how it begins
    :raises CallError: there is no such id, or ``out`` is no name for a PNG
    :raises StoreError: the copy of the document is gone, or the picture cannot be written
    """
    if out.suffix.lower() != ".png":
        raise CallError(
            Reason.BAD_CALL, "the picture is a PNG", file=str(out), advice="give --out a name ending in .png"
        )
    if is_stamp_id(asked):
        row, picture = draw_kept_stamp(store, asked)
        _write(picture, out)
        return StampEvidence(out, row)
    told, picture = _draw_claim(store, asked, look or Look())
    _write(picture, out)
    return Evidence(out, told)


def _draw_claim(store: Store, claim_id: str, look: Look) -> tuple[ToldClaim, Image.Image]:
    from ..extract.pages import render_page

    with store.reading() as connection:
        told = find_claim(connection, claim_id)
    claim = told.claim
    copy = store.find_source(told.document_sha256)
    if copy is None and (shared := find_shared_picture(store, told.claim_id)):
        return told, _draw_shared(shared, told, look)
    if copy is None:
        where = f"page {claim.page}"
        raise StoreError(Reason.SOURCE_GONE, "the store's copy of it is gone", file=claim.document, where=where)
    try:
        page = render_page(copy, claim.page, dpi=_DPI).convert("RGB")
    except DocumentError as error:
        raise StoreError(
            Reason.SOURCE_GONE, f"the store's copy of it cannot be shown ({error.fault.message})", file=claim.document
        ) from error
    scale = _DPI / _POINTS_PER_INCH if told.document_kind == "pdf" else 1.0
    return told, draw_evidence(page, told, scale, look)


def _draw_shared(file: Path, told: ToldClaim, look: Look) -> Image.Image:
    """The picture as it came in a pack, under a line that says so: nobody here has seen the page."""
    with Image.open(file) as opened:
        picture = opened.convert("RGB")
    words = f"As shared by {told.shared_by or 'somebody else'}. The document itself is not in this store."
    font = ImageFont.load_default(look.text)
    lines = textwrap.wrap(drawable(words), max(20, int(picture.width / (look.text * 0.58))))
    step = round(look.text * 1.5)
    whole = Image.new("RGB", (picture.width, picture.height + len(lines) * step + look.margin), _PAPER)
    draw = ImageDraw.Draw(whole)
    for number, line in enumerate(lines):
        draw.text((look.margin, look.margin // 2 + number * step), line, font=font, fill=_FRAME)
    whole.paste(picture, (0, len(lines) * step + look.margin))
    return whole


def _write(picture: Image.Image, out: Path) -> None:
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        put_whole(out, lambda path: picture.save(path, format="PNG"))
    except OSError as error:
        raise StoreError(
            Reason.NOT_WRITABLE, f"the picture cannot be written ({error.strerror})", file=str(out),
            advice="give --out another place",
        ) from error  # fmt: skip


def draw_evidence(page: Image.Image, told: ToldClaim, scale: float, look: Look) -> Image.Image:
    """The strip of the page around the value with the value framed, and the caption beneath it."""
    box = told.claim.bbox
    strip = _cut_strip(page, box, scale, look)
    caption = _draw_caption(told, strip.width, look)
    picture = Image.new("RGB", (strip.width, strip.height + caption.height), _PAPER)
    picture.paste(strip, (0, 0))
    picture.paste(caption, (0, strip.height))
    return picture


def _cut_strip(page: Image.Image, box: Box | None, scale: float, look: Look) -> Image.Image:
    """The page's full width, and as much above and below the value as the look asks for, at the look's width."""
    zoom = look.width / page.width
    shown = page.resize((look.width, max(1, round(page.height * zoom))), Image.Resampling.LANCZOS)
    if box is None:
        return shown
    x0, top, x1, bottom = (value * scale * zoom for value in (box.x0, box.top, box.x1, box.bottom))
    draw = ImageDraw.Draw(shown)
    gap = look.gap
    draw.rounded_rectangle((x0 - gap, top - gap, x1 + gap, bottom + gap), gap, outline=_FRAME, width=look.frame)
    upper, lower = max(0, round(top - look.around)), min(shown.height, round(bottom + look.around))
    return shown.crop((0, upper, shown.width, lower)) if lower > upper else shown


def _draw_caption(told: ToldClaim, width: int, look: Look) -> Image.Image:
    title_font, font = (ImageFont.load_default(size) for size in (look.text * 1.25, look.text))
    lines = [
        (line, face, colour)
        for text, face, colour in _caption(told, title_font, font)
        for line in textwrap.wrap(drawable(text), max(20, int(width / (look.text * 0.58)))) or [""]
    ]
    step = round(look.text * 1.5)
    strip = Image.new("RGB", (width, len(lines) * step + 2 * look.margin), _PAPER)
    draw = ImageDraw.Draw(strip)
    draw.rectangle((0, 0, width, 3), fill=_FRAME)
    for number, (line, face, colour) in enumerate(lines):
        draw.text((look.margin, look.margin + number * step), line, font=face, fill=colour)
    return strip


Face = ImageFont.FreeTypeFont | ImageFont.ImageFont


def _caption(told: ToldClaim, title: Face, font: Face) -> list[tuple[str, Face, tuple[int, int, int]]]:
    claim: Claim = told.claim
    variant = f" {claim.variant}" if claim.variant else ""
    place = "" if claim.bbox else " (its place on the page is not known)"
    held = "; ".join(reason["reason"].replace("_", " ") for reason in told.reasons)
    return [
        (f"{claim.part_code}{variant}: {claim.limit.replace('_', ' ')} {show_value(claim)}{show_condition(claim)}",
         title, _INK),
        (f"{claim.document}, page {claim.page}{place}", font, _INK),
        (f"{_STATE_WORDS[told.state]}{f' ({held})' if held else ''}; confidence {claim.confidence:.0%}; "
         f"claim {told.claim_id}", font, _MUTED),
    ]  # fmt: skip
