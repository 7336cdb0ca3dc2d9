"""Fresh cuts in fonts that no training saw → whole lines read right, by the reader that ships and by PP-OCR's model.

    python -m training.compare --fonts DIR [--count 700] [--seed 5]

Both see the same cuts, as they are, one look each. Needs the product itself, no PyTorch.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from cogledger.extract.stamps.ppocr_reader import PpocrSignReader
from cogledger.extract.stamps.sign_model import SignModel

from .cuts import draw_cuts, draw_textless
from .fonts import find_fonts
from .marks import PROCESSES
from .product import ALPHABET

CAPS = ((0, 10), (10, 14), (14, 20), (20, 60))
"""Heights of capitals on the photo, in pixels, that are told apart."""


def draw_samples(fonts: Sequence[Path], count: int, seed: int) -> list[dict[str, Any]]:
    """So many cuts of lines that read one way or another, and a fifth as many without any text."""
    rng = np.random.default_rng(seed)
    lines: list[dict[str, Any]] = []
    while len(lines) < count:
        lines += [sample for sample in draw_cuts(rng, fonts) if sample["count"]]
    bare = [sample for _ in range(-(-count // 50)) for sample in draw_textless(rng)]
    return lines[:count] + bare


def text_of(shares: np.ndarray) -> str:
    """The best path of a grid: repeats and blanks left out, blanks at both ends too."""
    best = shares.argmax(axis=1)
    return "".join(ALPHABET[n - 1] for i, n in enumerate(best) if n and (i == 0 or n != best[i - 1])).strip()


def label_of(sample: dict[str, Any]) -> str:
    """The text of a sample."""
    return "".join(ALPHABET[number - 1] for number in sample["label"][: sample["count"]]).strip()


def figures(samples: Sequence[dict[str, Any]], texts: Sequence[str]) -> dict[str, float]:
    """Shares of whole texts read right, by process and by height of capitals, and of bare cuts read as nothing."""
    right = np.array([text == label_of(sample) for sample, text in zip(samples, texts, strict=True)])
    process = np.array([sample["process"] for sample in samples])
    cap = np.array([sample["cap"] for sample in samples])
    parts = {"lines": process >= 0, "lines, capitals of 10 px or more": (process >= 0) & (cap >= 10)}
    parts |= {name: process == number for number, name in enumerate(PROCESSES)}
    parts |= {f"capitals {low}-{high} px": (process >= 0) & (cap >= low) & (cap < high) for low, high in CAPS}
    parts["no text"] = process < 0
    return {name: float(right[part].mean()) for name, part in parts.items() if part.any()}


def main() -> None:
    """Draw, read and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fonts", type=Path, required=True)
    parser.add_argument("--count", type=int, default=700)
    parser.add_argument("--seed", type=int, default=5)
    args = parser.parse_args()
    samples = draw_samples(find_fonts(args.fonts, held_out=True), args.count, args.seed)
    cuts = [sample["pixels"][:, : sample["width"]] for sample in samples]
    readers = (SignModel(), PpocrSignReader())
    found = [figures(samples, [text_of(grid.shares) for grid in reader.read(cuts)]) for reader in readers]
    print(f"{'':36}" + "".join(f"{reader.name:>12}" for reader in readers))
    for name in found[0]:
        print(f"{name:36}" + "".join(f"{100 * each[name]:11.1f}%" for each in found))


if __name__ == "__main__":
    main()
