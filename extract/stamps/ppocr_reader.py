"""Cuts of stamped lines → grids of signs, by the PP-OCR recognition model that reads scans too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from ...schema.errors import DocumentError
from ...schema.reasons import Reason
from ..engines import ppocr
from .grids import ALPHABET, BLANK, CLASSES, LEAST_SHARE, SignGrid, as_grid, class_of

_LEAST_WIDTH_PX, _MOST_WIDTH_PX = 32, 960
_MARKS = "→←↑↓▶►◀◄<>^~#@&§¤★☆●○◆◇■□▲△▼▽"
_LIKE: dict[str, str] = {"–": "-", "—": "-", "‑": "-", "−": "-", "_": "-", "·": ".", "•": ".", ",": ".", ":": "."}
_UPRIGHT_STROKES: dict[str, float] = {"I": 0.5, "1": 0.4, "L": 0.1}
"""What an upright stroke, which the model calls a small l or a bar, is among capitals and digits."""


@dataclass(frozen=True)
class PpocrSignReader:
    """Reads cuts in colour as they are; the model's small letters count as capitals, foreign letters are left out."""

    name: str = "ppocr"

    def read(self, cuts: Sequence[np.ndarray]) -> list[SignGrid]:
        """RGB cuts of any height → one grid each.

        Raises ``InstallationError`` where the model is not installed, ``DocumentError`` (``ENGINE_FAILED``) where it
        fails on a cut.
        """
        return [self._read_one(cut) for cut in cuts]

    def _read_one(self, cut: np.ndarray) -> SignGrid:
        engine = ppocr.probe()
        height, width = cut.shape[:2]
        scaled = min(_MOST_WIDTH_PX, max(_LEAST_WIDTH_PX, round(width * ppocr.HEIGHT_PX / height)))
        shrinks = height > ppocr.HEIGHT_PX
        sized = cv2.resize(cut, (scaled, ppocr.HEIGHT_PX), interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC)
        level = sized[:, :, ::-1].astype(np.float32) / 127.5 - 1.0
        try:
            (answer,) = engine.session.run(
                None, {engine.session.get_inputs()[0].name: level.transpose(2, 0, 1)[None].copy()}
            )
        except Exception as error:
            first = (str(error).splitlines() or [type(error).__name__])[0][:120]
            raise DocumentError(Reason.ENGINE_FAILED, f"the model failed ({first})") from error
        places, fold = _folding()
        return as_grid(np.maximum(answer[0][:, places] @ fold, LEAST_SHARE))


@lru_cache(maxsize=1)
def _folding() -> tuple[np.ndarray, np.ndarray]:
    """The model's classes that mean something on a stamp, and the matrix that leads from them to ours."""
    engine = ppocr.probe()
    rows = [(place, _meaning(sign)) for place, sign in zip(engine.places, engine.signs, strict=True)]
    kept = [(place, meaning) for place, meaning in rows if meaning]
    fold = np.zeros((len(kept), CLASSES), np.float32)
    for row, (_, meaning) in zip(fold, kept, strict=True):
        for number, share in meaning.items():
            row[number] = share
    return np.array([place for place, _ in kept]), fold


def _meaning(sign: str) -> dict[int, float]:
    if sign == "":
        return {BLANK: 1.0}
    if sign in "l|":
        return {class_of(stroke): share for stroke, share in _UPRIGHT_STROKES.items()}
    if sign in _LIKE or sign.upper() in ALPHABET:
        return {class_of(_LIKE.get(sign, sign)): 1.0}
    return {class_of("*"): 1.0} if sign in _MARKS else {}
