"""Colours drawn at random by what they are the colour of; RGB, 0 to 1."""

from __future__ import annotations

import colorsys

import numpy as np

_Range = tuple[float, float]
_FAMILIES: dict[str, tuple[_Range, _Range, _Range]] = {
    "steel": ((0.52, 0.68), (0.0, 0.10), (0.35, 0.85)),
    "warm steel": ((0.02, 0.14), (0.0, 0.14), (0.35, 0.85)),
    "black": ((0.0, 1.0), (0.0, 0.20), (0.03, 0.20)),
    "red": ((-0.03, 0.03), (0.55, 1.0), (0.35, 0.95)),
    "orange": ((0.04, 0.09), (0.60, 1.0), (0.55, 1.0)),
    "gold": ((0.09, 0.14), (0.35, 0.85), (0.50, 0.92)),
    "green": ((0.25, 0.45), (0.30, 0.90), (0.20, 0.80)),
    "blue": ((0.54, 0.68), (0.40, 1.0), (0.25, 0.95)),
    "purple": ((0.70, 0.84), (0.30, 0.90), (0.25, 0.80)),
    "pink": ((0.90, 0.98), (0.25, 0.75), (0.55, 0.98)),
    "white": ((0.05, 0.65), (0.0, 0.08), (0.78, 0.97)),
    "wood": ((0.05, 0.11), (0.20, 0.65), (0.25, 0.85)),
    "card": ((0.07, 0.11), (0.25, 0.50), (0.50, 0.80)),
    "grass": ((0.20, 0.34), (0.35, 0.80), (0.25, 0.65)),
    "earth": ((0.04, 0.12), (0.15, 0.55), (0.12, 0.50)),
    "stone": ((0.03, 0.70), (0.0, 0.12), (0.25, 0.85)),
    "rubber": ((0.0, 1.0), (0.0, 0.15), (0.05, 0.28)),
    "any": ((0.0, 1.0), (0.0, 0.95), (0.08, 0.95)),
    "muted": ((0.0, 1.0), (0.0, 0.45), (0.08, 0.90)),
    "skin": ((0.02, 0.08), (0.20, 0.52), (0.25, 0.95)),
    "brass": ((0.10, 0.14), (0.35, 0.70), (0.50, 0.85)),
    "copper": ((0.03, 0.07), (0.40, 0.75), (0.40, 0.80)),
}
_METALS = ("steel", "warm steel", "black", "red", "orange", "gold", "green", "blue", "purple", "pink", "white", "any")
_METAL_SHARES = np.array([30, 16, 16, 7, 3, 5, 4, 8, 4, 1, 3, 3], float) / 100.0


def draw_colour(rng: np.random.Generator, family: str) -> np.ndarray:
    """One colour of a family such as ``"steel"`` or ``"grass"``: three float32 from 0 to 1."""
    hue, saturation, value = (rng.uniform(*span) for span in _FAMILIES[family])
    return np.array(colorsys.hsv_to_rgb(hue % 1.0, saturation, value), np.float32)


def draw_part_colour(rng: np.random.Generator) -> np.ndarray:
    """The colour of a part: mostly bare or black metal, a third of them anodised or painted."""
    return draw_colour(rng, str(rng.choice(_METALS, p=_METAL_SHARES)))


def near(rng: np.random.Generator, colour: np.ndarray, spread: float) -> np.ndarray:
    """A colour near another: lighter or darker by up to ``spread``, each channel a little by itself."""
    shifted = colour * (1.0 + rng.uniform(-spread, spread)) + rng.uniform(-spread, spread, 3) * 0.15
    return np.clip(shifted, 0.0, 1.0).astype(np.float32)


def ramp(dark: np.ndarray, light: np.ndarray, middle: np.ndarray | None = None) -> np.ndarray:
    """A table of 256 RGB bytes from dark to light (through ``middle``), for ``cv2.LUT``: 1 × 256 × 3 uint8."""
    stops = np.stack([dark, light] if middle is None else [dark, middle, light])
    places = np.linspace(0.0, 1.0, len(stops))
    steps = np.linspace(0.0, 1.0, 256)
    table = np.stack([np.interp(steps, places, stops[:, channel]) for channel in range(3)], axis=1)
    return (np.clip(table, 0.0, 1.0) * 255.0).round().astype(np.uint8)[None]
