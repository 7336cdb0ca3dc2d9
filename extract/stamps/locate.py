"""Upright pixels → the lines of signs on them, at any angle and size.

The text detection model of PP-OCR (a file of the package ``rapidocr``, which is not imported) marks where signs may
stand. It sees signs of some ten pixels and more, and marks whole parts where they are smaller; so the photo is searched
coarsely first, every line found is searched again on a level cut-out where its signs are as high as the model measures
best, and where no clear line came of it, the places that parts seem to stand at are searched closely. Which way up a
line reads stays open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from . import networks
from .heaps import Found, HeapSettings, find_rows
from .linebox import CAPITALS_SHARE, LineBox
from .rectify import cut_level
from .views import Photo, View


@dataclass(frozen=True)
class LocateSettings:
    """How the photo is searched."""

    heaps: HeapSettings = field(default_factory=HeapSettings)
    coarse_px: int = 800
    """Longest side of the first look."""
    best_capitals_px: float = 26.0
    capitals_px: tuple[float, float] = (15.0, 44.0)
    """Capitals this high in a level cut-out are measured well."""
    possible_capitals_px: tuple[float, float] = (3.0, 60.0)
    """What is lower on a look is noise; what is higher is a part rather than a line, unless it is clear."""
    least_full: float = 0.72
    least_long: float = 1.0
    worth_full: float = 0.5
    worth_long: float = 0.7
    """What a line must have, and what is worth a look of its own; see ``Found``."""
    most_grown: float = 2.0
    window_px: int = 704
    margin_along: float = 1.5
    margin_across: float = 1.2
    """What a cut-out shows around lines, in heights of a line."""
    near: float = 0.6
    depth: int = 3
    fine_px: int = 2016
    """Longest side the photo would have at the scale of the close look."""
    tile_px: int = 512
    tiles: int = 5
    budget_px: int = 1_900_000
    """Pixels that may be looked at in all."""
    bent_from: float = 0.08
    """Lines that bend more, in heights, are measured again with the bend taken out."""
    most_straightened: int = 5
    flattened: float = 1.5
    """About how much more a line bends than the map shows."""
    clear_score: float = 0.72
    clear_long: float = 1.8
    central: float = 0.28
    """How far from the middle, in sides of the photo, a line may be to make a closer look needless."""
    unproved: float = 0.5
    """What the score of a line is worth that was not found again on its cut-out."""
    least_score: float = 0.2
    most: int = 14


DEFAULTS = LocateSettings()
_MULTIPLE = 32
_CELLS = 16
"""Cells along the side of a window of the close look."""
_MEAN, _SPREAD = np.array((0.485, 0.456, 0.406), np.float32), np.array((0.229, 0.224, 0.225), np.float32)
"""The means and spreads of channels that the model was made with."""


def find_lines(pixels: np.ndarray, settings: LocateSettings = DEFAULTS) -> list[LineBox]:
    """RGB pixels → lines, the clearest first, at most ``settings.most``, in pixels of ``pixels``.

    Raises ``InstallationError`` where the model is missing, ``DocumentError`` where it fails.
    """
    search = _Search(Photo(pixels), settings)
    view, small = search.photo.whole(settings.coarse_px)
    share = search.look(small)
    lines, ragged = _told_apart(find_rows(share, settings.heaps), settings)
    search.settle([view.to_photo(found.line) for found in lines], (view,))
    if not search.clear():
        for tile in _tiles(view, ragged, search):
            found, _ = _told_apart(find_rows(search.look(search.photo.cut(tile)), settings.heaps), settings)
            search.settle([tile.to_photo(each.line) for each in found], (tile,))
    return _distinct([line for line in search.lines if line.score >= settings.least_score], settings.most)


def find_map(pixels: np.ndarray) -> np.ndarray:
    """RGB pixels → rows × columns: how likely the middle of a line of signs is there, 0 to 1."""
    rows, columns = pixels.shape[:2]
    whole = cv2.copyMakeBorder(pixels, 0, -rows % _MULTIPLE, 0, -columns % _MULTIPLE, cv2.BORDER_REPLICATE)
    values = (whole[:, :, ::-1].astype(np.float32) / 255 - _MEAN) / _SPREAD
    return networks.run(networks.FINDER, np.ascontiguousarray(values.transpose(2, 0, 1)[None]))[0, 0, :rows, :columns]


@dataclass(eq=False)
class _Search:
    """One photo's search: what was looked at, what was found."""

    photo: Photo
    settings: LocateSettings
    spent_px: int = 0
    lines: list[LineBox] = field(default_factory=list)
    _clear: bool = False

    def look(self, pixels: np.ndarray) -> np.ndarray:
        """The map of some pixels, which count against the budget."""
        self.spent_px += pixels.shape[0] * pixels.shape[1]
        return find_map(pixels)

    def affords(self, view: View) -> bool:
        """Whether the budget allows to look at a view."""
        return self.spent_px + view.width * view.height <= self.settings.budget_px

    def clear(self) -> bool:
        """Whether a line was found that is surely one."""
        return self._clear

    def settle(self, lines: Sequence[LineBox], seen: tuple[View, ...]) -> None:
        """Lines of the photo, found on the last of the views ``seen``: measured again on cut-outs of their own."""
        new = [line for line in lines if not any(k.score >= line.score and _overlap(line, k) > 0.5 for k in self.lines)]
        for group in _groups(new, self.settings.near):
            self._settle_group(group, seen)

    def _settle_group(self, group: list[LineBox], seen: tuple[View, ...]) -> None:
        view = _level_view(group, self.settings)
        found: list[Found] = []
        if len(seen) <= self.settings.depth and self.affords(view):
            found, _ = _told_apart(find_rows(self.look(self.photo.cut(view)), self.settings.heaps), self.settings)
        if not found:
            self.lines += [replace(line, score=line.score * self.settings.unproved) for line in group]
        again = []
        for each in found:
            line = view.to_photo(each.line)
            if self._measured(each, view):
                self.lines.append(self._straightened(line))
                long = each.long >= self.settings.clear_long
                self._clear |= long and each.line.score >= self.settings.clear_score and self._central(line)
            else:
                again.append(line)
        for each in _groups(again, self.settings.near):
            self._settle_group(each, (*seen, view))

    def _straightened(self, line: LineBox) -> LineBox:
        """A bent line measured again with its bend taken out, until none is left: the model flattens strong bends."""
        settings = self.settings
        for _ in range(settings.most_straightened):
            if abs(line.bend) < settings.bent_from * line.height:
                return line
            shown = _widened(line, settings)
            scale = min(settings.most_grown, settings.best_capitals_px / (line.height * CAPITALS_SHARE))
            rows = find_rows(
                self.look(cut_level(self.photo.pixels, shown, round(shown.height * scale))), settings.heaps
            )
            high = shown.height * scale
            near = [row for row in rows if _is_line(row, settings) and abs(row.line.y - high / 2) < 0.25 * high]
            if not near:
                return line
            row = max(near, key=lambda each: each.line.length).line
            left = row.bend / scale
            line = _moved(line, shown, row, scale, settings.flattened)
            if abs(left) < settings.bent_from / 2 * line.height:
                return line
        return line

    def _central(self, line: LineBox) -> bool:
        """Whether a line is where a photo of a stamp would have it."""
        rows, columns = self.photo.pixels.shape[:2]
        return max(abs(line.x / columns - 0.5), abs(line.y / rows - 0.5)) < self.settings.central

    def _measured(self, found: Found, view: View) -> bool:
        """Whether a line is of a good size on the view, or cannot be of a better one, and is seen to both its ends."""
        low, high = self.settings.capitals_px
        if not _is_line(found, self.settings):
            return False
        small = found.capitals_px < low and view.scale < 0.99 * self.settings.most_grown
        if small or found.capitals_px > high:
            return False
        x0, y0 = found.line.outline().min(axis=0)
        x1, y1 = found.line.outline().max(axis=0)
        return bool(x0 > -3 and y0 > -3 and x1 < view.width + 2 and y1 < view.height + 2)


def _told_apart(rows: Sequence[Found], settings: LocateSettings) -> tuple[list[Found], list[Found]]:
    """What may be lines of signs, and what rather is parts, screws and the like; noise is left out."""
    least, most = settings.possible_capitals_px
    lines, ragged = [], []
    for found in rows:
        like = found.full >= settings.worth_full and found.long >= settings.worth_long
        sized = found.capitals_px <= most or found.line.score >= settings.clear_score
        if found.capitals_px >= least:
            (lines if like and sized else ragged).append(found)
    return lines, ragged


def _widened(line: LineBox, settings: LocateSettings) -> LineBox:
    """A line with room around it, its bend going on."""
    length = line.length + settings.margin_along * line.height
    high = line.height * 2 * settings.margin_across
    return replace(line, length=length, height=high, bend=line.bend * (length / line.length) ** 2)


def _moved(line: LineBox, shown: LineBox, row: LineBox, scale: float, flattened: float) -> LineBox:
    """A line as it was measured on a straight cut of ``shown`` at ``scale``, back on the photo."""
    turn, length = math.radians(line.angle), row.length / scale
    u, v = (row.x + 0.5) / scale - shown.length / 2, (row.y + 0.5) / scale - shown.height / 2
    v += shown.bend * (2 * u / shown.length) ** 2
    return replace(
        line,
        x=line.x + u * math.cos(turn) - v * math.sin(turn),
        y=line.y + u * math.sin(turn) + v * math.cos(turn),
        length=length,
        height=row.height / scale,
        angle=line.angle + row.angle + math.degrees(math.atan(8 * shown.bend * u / shown.length**2)),
        bend=shown.bend * (length / shown.length) ** 2 + row.bend / scale * flattened,
    )


def _is_line(found: Found, settings: LocateSettings) -> bool:
    return found.full >= settings.least_full and found.long >= settings.least_long


def _level_view(group: Sequence[LineBox], settings: LocateSettings) -> View:
    """A cut-out, level along the longest of the lines, that shows them all with margins."""
    longest = max(group, key=lambda line: line.length)
    capitals = float(np.average([line.height for line in group], weights=[line.length for line in group]))
    turn = (longest.angle + 90) % 180 - 90
    axis = math.radians(turn)
    along, across = np.array((math.cos(axis), math.sin(axis))), np.array((-math.sin(axis), math.cos(axis)))
    points = np.concatenate([line.outline() for line in group])
    u, v = points @ along, points @ across
    high = max(line.height for line in group)
    wide = float(u.max() - u.min()) + 2 * settings.margin_along * high
    tall = float(v.max() - v.min()) + 2 * settings.margin_across * high
    scale = min(
        settings.most_grown,
        settings.best_capitals_px / (capitals * CAPITALS_SHARE),
        settings.window_px / max(wide, tall),
    )
    x, y = along * (u.max() + u.min()) / 2 + across * (v.max() + v.min()) / 2
    return View(
        float(x), float(y), turn, scale, max(_MULTIPLE, round(wide * scale)), max(_MULTIPLE, round(tall * scale))
    )


def _tiles(coarse: View, ragged: Sequence[Found], search: _Search) -> list[View]:
    """Where to look closely: windows over what stands out, what seems to be a part, and the middle of the photo."""
    settings = search.settings
    rows, columns = search.photo.pixels.shape[:2]
    scale = min(1.0, settings.fine_px / max(rows, columns))
    if scale < 1.3 * coarse.scale:
        return []
    cell = settings.tile_px / scale / _CELLS
    weight = _weights(search.photo, coarse, ragged, scale, cell)
    high, wide = weight.shape
    side = [min(_CELLS, wide), min(_CELLS, high)]
    views: list[View] = []
    for _ in range(min(settings.tiles, (settings.budget_px - search.spent_px) // settings.tile_px**2)):
        sums = cv2.boxFilter(weight, -1, side, anchor=(0, 0), normalize=False, borderType=cv2.BORDER_CONSTANT)
        sums = sums[: high - side[1] + 1, : wide - side[0] + 1]
        top, left = np.unravel_index(int(sums.argmax()), sums.shape)
        weight[top + 1 : top + side[1] - 1, left + 1 : left + side[0] - 1] = 0
        x, y = (float(left) + side[0] / 2) * cell, (float(top) + side[1] / 2) * cell
        views.append(View(x, y, 0.0, scale, round(side[0] * cell * scale), round(side[1] * cell * scale)))
    return views


def _weights(photo: Photo, coarse: View, ragged: Sequence[Found], scale: float, cell: float) -> np.ndarray:
    """How much each cell of ``cell`` × ``cell`` pixels of the photo asks for a close look at ``scale``."""
    rows, columns = photo.pixels.shape[:2]
    wide, high = math.ceil(columns / cell), math.ceil(rows / cell)
    x, y = (np.arange(wide) + 0.5) * cell, (np.arange(high) + 0.5) * cell
    off = ((x[None, :] / columns - 0.5) / 0.25) ** 2 + ((y[:, None] / rows - 0.5) / 0.25) ** 2
    weight = np.exp(-off / 2) * 0.5
    for found in ragged:
        mask = np.zeros((high, wide), np.uint8)
        cv2.fillPoly(mask, [np.round(coarse.to_photo(found.line).outline() / cell).astype(np.int32)], 1)
        weight += mask * 0.5 * min(1.0, found.line.score + 0.3)
    return weight + _standing_out(photo.whole(round(scale * max(rows, columns)))[1], wide, high) * (0.3 + weight)


def _standing_out(pixels: np.ndarray, wide: int, high: int) -> np.ndarray:
    """How much more detail that runs in all directions each of the cells has than those around it, 0 to 2.

    Measured by the smaller eigenvalue of the structure tensor, which is low along a lone edge.
    """
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    gx, gy = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    xx, yy, xy = (cv2.resize(p, (wide, high), interpolation=cv2.INTER_AREA) for p in (gx * gx, gy * gy, gx * gy))
    least = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    detail = np.sqrt(np.maximum(least, 0) + 1).astype(np.float32)
    return np.clip(detail / cv2.medianBlur(detail, 5) - 1.25, 0, 2)


def _groups(lines: Sequence[LineBox], near: float) -> list[list[LineBox]]:
    """Lines that stand close together and much the same way, together."""
    left = sorted(lines, key=lambda line: -line.score)
    groups = []
    while left:
        group = [left.pop(0)]
        while (other := next((e for e in left if any(_close(e, own, near) for own in group)), None)) is not None:
            left.remove(other)
            group.append(other)
        groups.append(group)
    return groups


def _close(a: LineBox, b: LineBox, near: float) -> bool:
    turned = abs((a.angle - b.angle + 90) % 180 - 90)
    if turned > 20 or not 0.4 < a.height / b.height < 2.5:
        return False
    add = near * (a.height + b.height)
    wider = [replace(line, length=line.length + add, height=line.height + add) for line in (a, b)]
    return _overlap(*wider) > 0


def _distinct(lines: Sequence[LineBox], most: int) -> list[LineBox]:
    """The best lines, without those that mostly repeat a better one."""
    kept: list[LineBox] = []
    for line in sorted(lines, key=lambda item: -item.score):
        if all(_overlap(line, other) < 0.4 for other in kept):
            kept.append(line)
        if len(kept) == most:
            break
    return kept


def _overlap(a: LineBox, b: LineBox) -> float:
    """Shared area as a part of the smaller one."""
    if math.hypot(a.x - b.x, a.y - b.y) > (a.length + b.length) / 2 + max(a.height, b.height):
        return 0.0
    shape_a, shape_b = (((s.x, s.y), (s.length, s.height), s.angle) for s in (a, b))
    kind, points = cv2.rotatedRectangleIntersection(shape_a, shape_b)
    shared = 0.0 if kind == cv2.INTERSECT_NONE or points is None else float(cv2.contourArea(cv2.convexHull(points)))
    return shared / max(1e-6, min(a.length * a.height, b.length * b.height))
