"""Pixels of one line of print → its signs with confidence and place, read by a PP-OCR recognition model.

The model is a file of the package ``rapidocr``, which is not imported: only the file is used, through ``onnxruntime``.
It knows the Latin letters of every language that the lexicon has. Only signs that a manual prints are let through.
One session per process, held to one thread.
"""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from ...schema.errors import DocumentError, InstallationError
from ...schema.reasons import Reason
from .signs import Sign

NAME = "ppocr"
HEIGHT_PX = 48
"""The height of line that the model was made for."""
_LEAST_WIDTH_PX = 24
_MOST_WIDTH_PX = 3200
_LATIN_END = 0x250
_FURTHER_SIGNS = frozenset("–—‑−•●○◯✓✔×≤≥°±“”„‘’…′″†‡✗✘→½¼¾⌀∅·■□▪")
_BLANK = 0
_DOUBTED = 0.9
"""A line with a sign less sure than this is read again, wider: narrow doubled letters run together otherwise."""
_STRETCH = 1.3


@dataclass(frozen=True)
class Engine:
    """The loaded model: its session, its signs, and the places of those let through."""

    session: Any
    signs: tuple[str, ...]
    places: np.ndarray


def model_path(part: str = "rec") -> Path | None:
    """The file of the recognition model (``rec``) or the detection model (``det``), None where it is not installed."""
    found = importlib.util.find_spec("rapidocr")
    folders = [Path(p) / "models" for p in (found.submodule_search_locations or [])] if found else []
    files = sorted(f for folder in folders for f in folder.glob(f"*{part}*.onnx"))
    return files[-1] if files else None


@lru_cache(maxsize=1)
def is_there() -> bool:
    """Whether the model and what runs it are installed."""
    return model_path() is not None and importlib.util.find_spec("onnxruntime") is not None


@lru_cache(maxsize=1)
def probe() -> Engine:
    """The model, loaded once per process.

    Raises ``InstallationError`` (``ENGINE_MISSING``) where the model or ``onnxruntime`` is missing or does not load.
    """
    path = model_path()
    if path is None or not is_there():
        raise _missing("the model that reads scans is not installed")
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 4
    try:
        session = onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
        listed = session.get_modelmeta().custom_metadata_map["character"].splitlines()
    except Exception as error:
        raise _missing(f"the model {path.name} cannot be loaded ({str(error).splitlines()[0][:120]})") from error
    signs = ("", *listed, " ")
    places = np.array([n for n, sign in enumerate(signs) if _is_let_through(sign)])
    return Engine(session, tuple(signs[n] for n in places), places)


def find_signs(line: np.ndarray, stretch: float = 1.0) -> list[Sign]:
    """The signs of one line of print, dark on light, in grey pixels; ``stretch`` widens it before it is read.

    Raises ``DocumentError`` (``ENGINE_FAILED``) where the model fails on it.
    """
    import cv2

    engine = probe()
    height, width = line.shape
    scaled = min(_MOST_WIDTH_PX, max(_LEAST_WIDTH_PX, round(stretch * width * HEIGHT_PX / height)))
    shrinks = height > HEIGHT_PX
    small = cv2.resize(line, (scaled, HEIGHT_PX), interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC)
    level = small.astype(np.float32) / 127.5 - 1.0
    try:
        (answer,) = engine.session.run(None, {engine.session.get_inputs()[0].name: np.stack([level] * 3)[None]})
    except Exception as error:
        raise DocumentError(Reason.ENGINE_FAILED, f"the model failed ({str(error).splitlines()[0][:120]})") from error
    shares = answer[0][:, engine.places]
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-9)
    return _decoded(shares, engine.signs, width / len(shares))


def find_signs_each(lines: Sequence[np.ndarray], timeout_s: float) -> list[list[Sign]]:
    """The signs of many lines; what is in doubt is read a second time, and the surer reading taken.

    Raises ``DocumentError`` (``ENGINE_FAILED``) too where they take longer than ``timeout_s`` together.
    """
    ends = time.monotonic() + timeout_s
    read: list[list[Sign]] = []
    for line in lines:
        if time.monotonic() > ends:
            raise DocumentError(Reason.ENGINE_FAILED, f"reading took longer than {timeout_s:g} s and was stopped")
        signs = find_signs(line)
        if signs and _least_sure(signs) < _DOUBTED:
            again = find_signs(line, _STRETCH)
            signs = max(signs, again, key=_least_sure)
        read.append(signs)
    return read


def _least_sure(signs: Sequence[Sign]) -> float:
    """How sure the least sure sign of a reading is; blanks do not count."""
    return min((s.confidence for s in signs if s.text.strip()), default=0.0)


def _decoded(shares: np.ndarray, signs: tuple[str, ...], step: float) -> list[Sign]:
    """Connectionist decoding: the best sign of each step, equal neighbours joined, blanks left out."""
    best = shares.argmax(axis=1)
    found: list[Sign] = []
    start = 0
    for end in range(1, len(best) + 1):
        if end < len(best) and best[end] == best[start]:
            continue
        if best[start] != _BLANK:
            own = shares[start:end]
            peak = own[int(own[:, best[start]].argmax())]
            order = np.argsort(peak)[::-1][:3]
            rival = next((signs[n] for n in order if n not in (best[start], _BLANK)), "")
            found.append(Sign(signs[best[start]], float(peak[best[start]]), (start + end) / 2 * step, rival))
        start = end
    return found


def _is_let_through(sign: str) -> bool:
    return len(sign) <= 1 and (sign == "" or ord(sign) < _LATIN_END or sign in _FURTHER_SIGNS)


def _missing(message: str) -> InstallationError:
    return InstallationError(Reason.ENGINE_MISSING, message, advice="run: pip install rapidocr onnxruntime")
