"""The networks that find and read stamps: loaded once per process and run on the processor."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from ...schema.errors import DocumentError, InstallationError
from ...schema.reasons import Reason
from ..engines import ppocr
from .grids import ALPHABET

FINDER, READER = "finder", "reader"
_MOST_THREADS = 2


def _path(name: str) -> Path | None:
    """The reader comes with this package, the finder is PP-OCR's detection model, a file of the package rapidocr."""
    if name == READER:
        return Path(__file__).parent / "models" / "reader.onnx"
    return ppocr.model_path("det")


@lru_cache(maxsize=2)
def load(name: str) -> Any:
    """The session of one of the networks, with as many threads as there are cores, two at most.

    Raises ``InstallationError`` (``ENGINE_MISSING``) where its file is missing or does not load, and where the reader
    was trained on other signs than ``ALPHABET``: its answers would be taken for the wrong ones.
    """
    path = _path(name)
    try:
        if path is None:
            raise FileNotFoundError("its file is not installed")
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = min(_MOST_THREADS, os.cpu_count() or 1)
        options.inter_op_num_threads = 1
        options.log_severity_level = 4
        session = onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
        if name == READER and session.get_modelmeta().custom_metadata_map.get("signs") != ALPHABET:
            raise ValueError(f"{path.name} tells other signs than this version of cogledger")
        return session
    except Exception as error:
        raise InstallationError(
            Reason.ENGINE_MISSING,
            f"the network that is the {name} of stamps cannot be loaded ({str(error).splitlines()[0][:120]})",
            advice="install cogledger again",
        ) from error


def run(name: str, values: np.ndarray) -> np.ndarray:
    """One input array through a network → its one output.

    Raises ``DocumentError`` (``ENGINE_FAILED``) where it fails, such as for want of memory.
    """
    session = load(name)
    try:
        (answer,) = session.run(None, {session.get_inputs()[0].name: values})
    except Exception as error:
        raise DocumentError(
            Reason.ENGINE_FAILED, f"the {name} of stamps failed ({str(error).splitlines()[0][:120]})"
        ) from error
    return answer
