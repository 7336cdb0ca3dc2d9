"""A reading of a photo → its picture: the stamp level and with contrast, its place framed, beneath it what was read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from ..schema.claims import Box
from ..schema.errors import DocumentError, StoreError
from ..schema.parts import part_label
from ..schema.reasons import Reason
from .stamps import StampRow, find_stamp
from .store import Store
from .wording import drawable, sure_words

if TYPE_CHECKING:
    from ..extract.records import SignPlace

_INK, _PAPER, _FRAME, _MUTED, _GROUND = (28, 32, 38), (246, 244, 239), (200, 60, 30), (96, 102, 110), (32, 34, 38)


@dataclass(frozen=True)
class StampLook:
    """Sizes of the picture in pixels: its width, the height of each view of the stamp, gaps, text."""

    width: int = 1200
    view: int = 260
    gap: int = 16
    title: int = 46
    text: int = 21

    @property
    def column(self) -> int:
        """The width of each of the two columns."""
        return (self.width - 3 * self.gap) // 2


def draw_kept_stamp(store: Store, reading_id: str, look: StampLook | None = None) -> tuple[StampRow, Image.Image]:
    """The reading with this id, or one that begins so, and its picture.

    :raises CallError: there is no such reading
    :raises StoreError: the store's copy of the photo is gone or cannot be opened
    """
    from ..extract.photos import MOST_PIXELS, read_photo
    from ..extract.records import SignPlace

    with store.reading() as connection:
        row = find_stamp(connection, reading_id)
    copy = store.find_source(row.sha256)
    name = str(row.record.get("file"))
    if copy is None:
        raise StoreError(Reason.SOURCE_GONE, "the store's copy of it is gone", file=name)
    try:
        pixels = read_photo(copy, MOST_PIXELS)
    except DocumentError as error:
        message = f"the store's copy of it cannot be shown ({error.fault.message})"
        raise StoreError(Reason.SOURCE_GONE, message, file=name) from error
    place = SignPlace(*row.place) if row.place else None
    return row, draw_stamp(pixels, row, place, look or StampLook())


def draw_stamp(pixels: np.ndarray, row: StampRow, place: SignPlace | None, look: StampLook) -> Image.Image:
    """The picture of one reading: the stamp twice on the left, the photo with its place framed on the right."""
    from ..extract.stamps.show import frame_place, show_stamp

    box = Box(*row.record["bbox"]) if row.record.get("bbox") else None
    views = show_stamp(pixels, box, place, (look.column, look.view))
    whole = frame_place(pixels, box, place, (look.column, 2 * look.view + look.gap), _FRAME)
    caption = _draw_caption(row, look)
    left = [Image.fromarray(each) for each in (views.level, views.enhanced)]
    right = Image.fromarray(whole)
    height = max(sum(each.height for each in left) + look.gap, right.height)
    picture = Image.new("RGB", (look.width, height + 2 * look.gap + caption.height), _GROUND)
    top = look.gap + (height - sum(each.height for each in left) - look.gap) // 2
    for each in left:
        picture.paste(each, (look.gap + (look.column - each.width) // 2, top))
        top += each.height + look.gap
    x = 2 * look.gap + look.column + (look.column - right.width) // 2
    picture.paste(right, (x, look.gap + (height - right.height) // 2))
    picture.paste(caption, (0, height + 2 * look.gap))
    return picture


def _draw_caption(row: StampRow, look: StampLook) -> Image.Image:
    title, *lines = map(drawable, _caption(row))
    big, small = (ImageFont.load_default(size) for size in (look.title, look.text))
    margin, step = 24, round(look.text * 1.5)
    wrapped = [part for line in lines for part in _wrap(line, small, look.width - 2 * margin)]
    strip = Image.new("RGB", (look.width, round(look.title * 1.3) + len(wrapped) * step + 2 * margin), _PAPER)
    draw = ImageDraw.Draw(strip)
    draw.rectangle((0, 0, look.width, 3), fill=_FRAME)
    draw.text((margin, margin - 6), title, font=big, fill=_INK)
    for number, line in enumerate(wrapped):
        draw.text((margin, margin + round(look.title * 1.3) + number * step), line, font=small, fill=_MUTED)
    return strip


def _wrap(text: str, font: ImageFont.FreeTypeFont | ImageFont.ImageFont, width: int) -> list[str]:
    """Lines of whole words that fit into ``width`` pixels."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and font.getlength(longer) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _caption(row: StampRow) -> list[str]:
    """What was read, how sure, what else it may be, and from which photos."""
    told = row.record
    teeth = f"{'-'.join(str(count) for count in told['teeth'])} T" if told["teeth"] else ""
    label = part_label(told["code"], told["variant"]) if told["code"] else ""
    title = "   ".join(words for words in (label or "no code read", teeth) if words)
    lines = [sure_words(told["confidence"])] if label else []
    others = [c for c in told["candidates"] if (c["code"], c["variant"]) != (told["code"], told["variant"])]
    if others:
        listed = ", ".join(f"{part_label(c['code'], c['variant'])} ({c['confidence']:.0%})" for c in others)
        lines.append(f"{'or' if label else 'perhaps'}: {listed}")
    if told["advice"]:
        lines.append(told["advice"])
    names = ", ".join(name for name, _ in row.photos)
    return [title, *lines, f"{names}; reading {row.reading_id}"]
