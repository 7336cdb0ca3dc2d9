"""A mask of letters → what a marking process leaves on a part: a change of height, of colour and of gloss.

The processes are those of the trade: struck with a die, cut with a rotating tool or scribed, cast or moulded along with
the part, etched by acid or laser, peened dot by dot, printed or painted. Sizes are parts of the height of capitals.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

PROCESSES = ("stamped", "engraved", "moulded", "etched", "dot_peen", "printed")


@dataclass(frozen=True)
class Mark:
    """``height`` in pixels (up is positive), ``cover`` 0–1 with ``colour`` RGB 0–1 laid over, ``gloss`` a factor."""

    height: np.ndarray
    cover: np.ndarray
    colour: np.ndarray
    gloss: np.ndarray


def _depth_in(mask: np.ndarray) -> np.ndarray:
    """The distance from the letters' edge, inside them, in pixels."""
    return cv2.distanceTransform((mask > 0.5).astype(np.uint8), cv2.DIST_L2, 3)


def _smoothstep(values: np.ndarray) -> np.ndarray:
    bounded = np.clip(values, 0, 1)
    return bounded * bounded * (3 - 2 * bounded)


def _blurred(values: np.ndarray, sigma: float) -> np.ndarray:
    return values if sigma < 0.2 else cv2.GaussianBlur(values, (0, 0), sigma)


def _worn(rng: np.random.Generator, mask: np.ndarray, cap: float, amount: float) -> np.ndarray:
    """The mask with places rubbed off, by smooth noise."""
    rows, columns = mask.shape
    grain = max(2.0, cap * float(rng.uniform(0.08, 0.6)))
    coarse = rng.random((max(2, int(rows / grain) + 2), max(2, int(columns / grain) + 2)), dtype=np.float32)
    noise = cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC)
    return mask * (1 - _smoothstep((noise - (1 - amount)) / 0.15))


def _ground_like(rng: np.random.Generator, base: np.ndarray, contrast: float) -> np.ndarray:
    """A colour for letters: the ground's made lighter or darker, or any."""
    style = rng.random()
    if style < 0.62:
        way = 1.0 if rng.random() < 0.5 else -1.0
        colour = np.clip(base * (1 + way * contrast) + way * contrast * 0.25, 0.02, 1.0)
    elif style < 0.86:
        shade = float(rng.choice((0.04, 0.1, 0.8, 0.92)))
        colour = np.full(3, shade) + rng.uniform(-0.03, 0.03, 3)
    else:
        colour = rng.uniform(0, 1, 3)
        colour = np.clip((colour - 0.5) * 1.6 + 0.5, 0, 1)
    if np.abs(colour - base).max() < 0.1:
        colour = base + (0.22 if base.mean() < 0.5 else -0.22)
    return np.clip(colour, 0, 1).astype(np.float32)


def draw_mark(rng: np.random.Generator, mask: np.ndarray, cap: float, process: str, base: np.ndarray) -> Mark:
    """Letters 0–1 of capitals ``cap`` pixels high, by a process, on a ground of colour ``base``."""
    mask = mask.astype(np.float32)
    zero, one = np.zeros_like(mask), np.ones_like(mask)
    if process in ("etched", "printed"):
        return _flat(rng, mask, cap, process, base)
    deep = cap * float(np.exp(rng.uniform(np.log(0.04), np.log(0.2))))
    inside = _depth_in(mask)
    bevel = max(0.8, cap * float(rng.uniform(0.02, 0.12)))
    if process == "engraved":
        reach = max(1.0, float(inside.max()) * float(rng.uniform(0.5, 1.0)))
        profile = np.minimum(inside / reach, 1.0) if rng.random() < 0.6 else np.sqrt(np.minimum(inside / reach, 1.0))
        profile = profile * np.minimum(1.0, mask * 1.2)
        height = -deep * profile
    elif process == "moulded":
        profile = _smoothstep(inside / bevel)
        height = (deep if rng.random() < 0.8 else -deep) * _blurred(profile, cap * float(rng.uniform(0.0, 0.05)))
    else:
        profile = _smoothstep(inside / bevel)
        height = -deep * profile
        if rng.random() < 0.5:
            rim = _blurred(mask, cap * 0.05) * (1 - mask)
            height = height + deep * float(rng.uniform(0.2, 1.0)) * rim
    height = _blurred(height.astype(np.float32), float(rng.uniform(0.0, 0.03)) * cap)
    cover, colour = zero, base.astype(np.float32)
    if rng.random() < 0.42:
        colour = _ground_like(rng, base, float(rng.uniform(0.15, 0.7)))
        if rng.random() < 0.4:
            colour = np.clip(base * float(rng.uniform(0.25, 0.75)), 0, 1).astype(np.float32)
        soft = _blurred(profile.astype(np.float32), cap * float(rng.uniform(0.0, 0.05)))
        cover = soft * float(rng.uniform(0.3, 1.0))
        if rng.random() < 0.3:
            cover = _worn(rng, cover, cap, float(rng.uniform(0.1, 0.5)))
    gloss = one + (float(rng.uniform(-0.6, 0.6)) * mask if rng.random() < 0.5 else 0.0)
    return Mark(height, cover, colour, gloss.astype(np.float32))


def _flat(rng: np.random.Generator, mask: np.ndarray, cap: float, process: str, base: np.ndarray) -> Mark:
    """Marks that hardly have a height: colour, and gloss where etched."""
    contrast = float(rng.uniform(0.1, 0.6)) if process == "etched" else float(rng.uniform(0.3, 0.9))
    colour = _ground_like(rng, base, contrast)
    soft = _blurred(mask, cap * float(rng.uniform(0.0, 0.05)))
    cover = soft * float(rng.uniform(0.55, 1.0))
    if rng.random() < 0.35:
        cover = _worn(rng, cover, cap, float(rng.uniform(0.05, 0.5)))
    if rng.random() < 0.25:
        fine = rng.random(mask.shape, dtype=np.float32)
        cover = cover * (1 - float(rng.uniform(0.1, 0.6)) * _blurred(fine, 0.6))
    lift = cap * float(rng.uniform(-0.03, 0.02)) * (rng.random() < 0.6)
    gloss = 1 + soft * float(rng.uniform(-0.9, 0.5))
    return Mark((lift * soft).astype(np.float32), cover.astype(np.float32), colour, gloss.astype(np.float32))
