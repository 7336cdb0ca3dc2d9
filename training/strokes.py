"""Centre lines of signs: of any letter by thinning, and of plain single-stroke letters designed here.

An engraver's cutter and a dot-peening pin follow lines, not outlines. ``find_strokes`` takes a picture of one sign and
gives the lines in its middle; ``plain_strokes`` gives the lines of an alphabet of our own, drawn on a grid 4 wide and
6 high, angular or with its corners cut round.
"""

from __future__ import annotations

import cv2
import numpy as np

Line = np.ndarray
"""Points of one stroke in order, n × 2 (x, y), float64; a closed stroke ends where it begins."""

PLAIN_HIGH = 6.0
_PLAIN: dict[str, str] = {
    "A": "06 20 46|14 34", "B": "00 30 41 42 33 03|33 44 45 36 06 00", "C": "41 30 10 01 05 16 36 45",
    "D": "00 20 42 44 26 06 00", "E": "40 00 06 46|03 33", "F": "40 00 06|03 33", "G": "41 30 10 01 05 16 36 45 43 23",
    "H": "00 06|40 46|03 43", "I": "20 26", "J": "30 35 26 16 05", "K": "00 06|40 03 46", "L": "00 06 46",
    "M": "06 00 24 40 46", "N": "06 00 46 40", "O": "10 30 41 45 36 16 05 01 10", "P": "06 00 30 41 42 33 03",
    "Q": "10 30 41 45 36 16 05 01 10|24 46", "R": "06 00 30 41 42 33 03|23 46",
    "S": "41 30 10 01 02 13 33 44 45 36 16 05", "T": "00 40|20 26",
    "U": "00 05 16 36 45 40", "V": "00 26 40", "W": "00 16 22 36 40", "X": "00 46|40 06",
    "Y": "00 23 40|23 26", "Z": "00 40 06 46", "0": "10 30 41 45 36 16 05 01 10", "1": "02 20 26",
    "2": "01 10 30 41 42 06 46", "3": "00 40 22 33 44 45 36 16 05", "4": "36 30 04 44", "5": "40 00 02 32 43 45 36 06",
    "6": "40 20 02 05 16 36 45 44 33 13 04", "7": "00 40 16", "8": "10 30 41 42 33 13 02 01 10|13 04 05 16 36 45 44 33",
    "9": "06 26 44 41 30 10 01 02 13 33 42", "-": "13 33", ".": "25 26", "/": "06 40", "*": "21 25|02 44|04 42",
    ">": "01 43 05", "<": "41 03 45", "&": "46 12 11 20 31 32 04 05 16 26 44", "(": "20 11 15 26", ")": "20 31 35 26",
    ",": "25 16", ":": "21 22|24 25", "+": "21 25|03 43", "#": "10 16|30 36|02 42|04 44", "=": "02 42|04 44", " ": "",
}  # fmt: skip


def plain_strokes(sign: str, rounds: int = 0) -> list[Line]:
    """A sign of our own alphabet → its strokes on a grid 4 wide and 6 high, corners cut round ``rounds`` times.

    Small letters are drawn as capitals; a sign that the alphabet lacks becomes a star.
    """
    word = _PLAIN.get(sign.upper(), _PLAIN["*"])
    lines = [np.array([[int(c) for c in p] for p in part.split()], float) for part in word.split("|") if part]
    for _ in range(rounds):
        lines = [_cut_corners(line) for line in lines]
    return lines


def _cut_corners(line: Line) -> Line:
    """Each inner corner becomes two points a quarter of the way along its sides (Chaikin's curve); sharp ones stay."""
    if len(line) < 3:
        return line
    closed = bool(np.all(line[0] == line[-1]))
    around = np.vstack((line[-2], line)) if closed else line
    into, onto = np.diff(around, axis=0)[:-1], np.diff(around, axis=0)[1:]
    sharp = (into * onto).sum(axis=1) < -0.3 * np.hypot(*into.T) * np.hypot(*onto.T)
    corners = line[:-1] if closed else line[1:-1]
    kept = []
    for point, before, after, stays in zip(corners, into, onto, sharp, strict=True):
        kept.extend([point] if stays else [point - before / 4, point + after / 4])
    if closed:
        return np.vstack((*kept, kept[0]))
    return np.vstack((line[0], *kept, line[-1]))


def find_strokes(mask: np.ndarray) -> list[Line]:
    """A mask 0–1 of one sign → the lines in the middle of its strokes, in pixels, free of spurs and smoothed.

    Free ends reach as far as the middle of a round pen as wide as the stroke would.
    """
    solid = mask > 0.5
    if not solid.any():
        return []
    padded = np.pad(solid, 2)
    depth = cv2.distanceTransform(padded.astype(np.uint8), cv2.DIST_L2, 5)
    thin = thinned(padded)
    lines = _without_spurs(_traced(thin), depth)
    if not lines:
        row, column = np.unravel_index(int(depth.argmax()), depth.shape)
        lines = [np.array([[column, row]], float)]
    return [_smoothed(line) - 2.0 for line in lines]


def thinned(solid: np.ndarray) -> np.ndarray:
    """A solid shape → its skeleton one pixel wide (Zhang and Suen, Communications of the ACM 27, 1984)."""
    image = solid.astype(np.uint8)
    while True:
        before = int(image.sum())
        for step in (0, 1):
            image &= ~_removable(image, step)
        if int(image.sum()) == before:
            return image.astype(bool)


_RING = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))


def _removable(image: np.ndarray, step: int) -> np.ndarray:
    """Which pixels one half of a round takes off, as 0 or 1."""
    core = image[1:-1, 1:-1]
    rows, columns = core.shape
    ring = [image[1 + dy : 1 + dy + rows, 1 + dx : 1 + dx + columns] for dy, dx in _RING]
    count = sum(ring[1:], ring[0].copy())
    turns = np.zeros_like(core)
    for here, after in zip(ring, ring[1:] + ring[:1], strict=True):
        turns += (1 - here) & after
    n, e, s, w = ring[0], ring[2], ring[4], ring[6]
    open_sides = (n * e * s, e * s * w) if step == 0 else (n * e * w, n * s * w)
    off = (core == 1) & (count >= 2) & (count <= 6) & (turns == 1) & (open_sides[0] == 0) & (open_sides[1] == 0)
    out = np.zeros_like(image)
    out[1:-1, 1:-1] = off
    return out


def _traced(thin: np.ndarray) -> list[Line]:
    """A skeleton → its lines between ends and crossings, and its rings."""
    ways = _ways(thin)
    nodes = {spot for spot, near in ways.items() if len(near) != 2}
    walked: set[tuple[tuple[int, int], tuple[int, int]]] = set()
    lines: list[Line] = []
    for start in [*sorted(nodes), *sorted(ways)]:
        for first in ways[start]:
            if (start, first) not in walked and (start in nodes or first not in nodes):
                lines.append(_walk(start, first, ways, nodes, walked))
    return lines


def _ways(thin: np.ndarray) -> dict[tuple[int, int], list[tuple[int, int]]]:
    """Neighbours of every pixel (row, column); a diagonal step does not count where two straight ones do the same."""
    spots = {(int(r), int(c)) for r, c in np.argwhere(thin)}
    ways: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for r, c in spots:
        near = [(r + dr, c + dc) for dr, dc in ((-1, 0), (0, 1), (1, 0), (0, -1)) if (r + dr, c + dc) in spots]
        for dr, dc in ((-1, -1), (-1, 1), (1, 1), (1, -1)):
            if (r + dr, c + dc) in spots and (r + dr, c) not in spots and (r, c + dc) not in spots:
                near.append((r + dr, c + dc))
        ways[(r, c)] = near
    return ways


def _walk(
    start: tuple[int, int],
    first: tuple[int, int],
    ways: dict[tuple[int, int], list[tuple[int, int]]],
    nodes: set[tuple[int, int]],
    walked: set[tuple[tuple[int, int], tuple[int, int]]],
) -> Line:
    path, before, here = [start], start, first
    while True:
        walked.update(((before, here), (here, before)))
        path.append(here)
        if here in nodes or here == start:
            break
        onward = [spot for spot in ways[here] if spot != before]
        if not onward or (here, onward[0]) in walked:
            break
        before, here = here, onward[0]
    return np.array(path, float)[:, ::-1]


def _without_spurs(lines: list[Line], depth: np.ndarray) -> list[Line]:
    """Lines without the short twigs that thinning leaves in corners and at serifs."""
    ends: dict[tuple[float, float], int] = {}
    for line in lines:
        for point in (line[0], line[-1]):
            ends[tuple(point)] = ends.get(tuple(point), 0) + 1
    kept = []
    for line in lines:
        free = [ends[tuple(point)] == 1 for point in (line[0], line[-1])]
        reach = max(depth[int(y), int(x)] for x, y in line)
        twig = sum(free) == 1 and len(lines) > 1 and len(line) < 1.1 * reach
        if not twig:
            kept.append(line)
    return kept


def _smoothed(line: Line, reach: int = 3) -> Line:
    """The line without the steps of its pixels; its ends stay where they are."""
    if len(line) < 2 * reach + 2:
        return line[[0, -1]] if len(line) > 1 else line
    closed = bool(np.all(line[0] == line[-1]))
    ends = (line[-1 - reach : -1], line[1 : 1 + reach]) if closed else (
        2 * line[0] - line[reach:0:-1], 2 * line[-1] - line[-2 : -2 - reach : -1],
    )  # fmt: skip
    long = np.vstack((ends[0], line, ends[1]))
    kernel = np.ones(2 * reach + 1) / (2 * reach + 1)
    smooth = np.stack([np.convolve(long[:, i], kernel, "valid") for i in (0, 1)], axis=1)
    return smooth[::2] if closed and len(smooth) % 2 else np.vstack((smooth[:-1:2], smooth[-1:]))
