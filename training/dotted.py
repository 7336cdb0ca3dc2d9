"""Letters made of dots, as a peening machine or a matrix printer sets them: a 5 × 7 design of our own, and other grids.

The other grids (6 × 9, 4 × 6, …) are the single-stroke letters of ``strokes`` walked over a grid of that size.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np

from .strokes import PLAIN_HIGH, plain_strokes

GRIDS = ((5, 7), (5, 9), (7, 9), (4, 6), (6, 8))
"""Columns and rows of the letter matrices."""
_FIVE_BY_SEVEN = {
    "A": ".###. #...# #...# ##### #...# #...# #...#", "B": "####. #...# #...# ####. #...# #...# ####.",
    "C": ".#### #.... #.... #.... #.... #.... .####", "D": "####. #...# #...# #...# #...# #...# ####.",
    "E": "##### #.... #.... ####. #.... #.... #####", "F": "##### #.... #.... ####. #.... #.... #....",
    "G": ".#### #.... #.... #..## #...# #...# .###.", "H": "#...# #...# #...# ##### #...# #...# #...#",
    "I": "##### ..#.. ..#.. ..#.. ..#.. ..#.. #####", "J": "..### ...#. ...#. ...#. ...#. #..#. .##..",
    "K": "#...# #..#. #.#.. ##... #.#.. #..#. #...#", "L": "#.... #.... #.... #.... #.... #.... #####",
    "M": "#...# ##.## #.#.# #.#.# #...# #...# #...#", "N": "#...# ##..# ##..# #.#.# #..## #..## #...#",
    "O": ".###. #...# #...# #...# #...# #...# .###.", "P": "####. #...# #...# ####. #.... #.... #....",
    "Q": ".###. #...# #...# #...# #.#.# #..#. .##.#", "R": "####. #...# #...# ####. #.#.. #..#. #...#",
    "S": ".#### #.... #.... .###. ....# ....# ####.", "T": "##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..",
    "U": "#...# #...# #...# #...# #...# #...# .###.", "V": "#...# #...# #...# #...# .#.#. .#.#. ..#..",
    "W": "#...# #...# #...# #.#.# #.#.# ##.## #...#", "X": "#...# #...# .#.#. ..#.. .#.#. #...# #...#",
    "Y": "#...# #...# .#.#. ..#.. ..#.. ..#.. ..#..", "Z": "##### ....# ...#. ..#.. .#... #.... #####",
    "0": ".###. #...# #..## #.#.# ##..# #...# .###.", "1": "..#.. .##.. ..#.. ..#.. ..#.. ..#.. .###.",
    "2": ".###. #...# ....# ..##. .#... #.... #####", "3": "####. ....# ....# .###. ....# ....# ####.",
    "4": "...#. ..##. .#.#. #..#. ##### ...#. ...#.", "5": "##### #.... ####. ....# ....# #...# .###.",
    "6": "..##. .#... #.... ####. #...# #...# .###.", "7": "##### ....# ...#. ...#. ..#.. ..#.. ..#..",
    "8": ".###. #...# #...# .###. #...# #...# .###.", "9": ".###. #...# #...# .#### ....# ...#. .##..",
    "-": "..... ..... ..... .###. ..... ..... .....", ".": "..... ..... ..... ..... ..... .##.. .##..",
    "/": "....# ....# ...#. ..#.. .#... #.... #....", "*": "..... ..#.. #.#.# .###. #.#.# ..#.. .....",
    ">": ".#... ..#.. ...#. ....# ...#. ..#.. .#...", "<": "...#. ..#.. .#... #.... .#... ..#.. ...#.",
    "+": "..... ..#.. ..#.. ##### ..#.. ..#.. .....", ":": "..... .##.. .##.. ..... .##.. .##.. .....",
    "(": "...#. ..#.. .#... .#... .#... ..#.. ...#.", ")": ".#... ..#.. ...#. ...#. ...#. ..#.. .#...",
}  # fmt: skip


@lru_cache(maxsize=2048)
def matrix_dots(sign: str, columns: int, rows: int, open_zero: bool = True) -> np.ndarray:
    """A sign on a matrix → its dots, n × 2, in whole steps of the matrix: x from 0 to columns - 1, y from 0 (top).

    With ``open_zero`` the 0 of the 5 × 7 design has no bar. Signs that the design lacks are taken from the strokes.
    """
    art = _FIVE_BY_SEVEN.get("O" if sign == "0" and open_zero else sign.upper())
    if (columns, rows) == (5, 7) and art is not None:
        return np.array([(x, y) for y, row in enumerate(art.split()) for x, c in enumerate(row) if c == "#"], float)
    spots: set[tuple[int, int]] = set()
    for line in plain_strokes(sign):
        on_grid = line * ((columns - 1) / 4, (rows - 1) / PLAIN_HIGH)
        for start, end in pairwise(on_grid):
            steps = int(np.ceil(np.abs(np.round(end) - np.round(start)).max()))
            for share in np.linspace(0, 1, steps + 1):
                x, y = np.floor(np.round(start) + share * (np.round(end) - np.round(start)) + 0.5)
                spots.add((int(x), int(y)))
    return np.array(sorted(spots), float).reshape(-1, 2)
