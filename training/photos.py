"""Whole photos of stamped parts with their truth, for judging and for calibration; never for training.

    python -m training.photos --fonts DIR --out DIR [--count 200] [--seed 11] [--seen-fonts]

Writes ``photo-NNN.jpg``, ``truth.jsonl`` and ``known_codes.txt``. The fonts are those held out from training unless
``--seen-fonts`` is given. Part of the codes are missing from the list, and most listed ones have neighbours one sign of
like shape away.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .backdrop import draw_backdrop
from .blocks import CAP_PX, Block, draw_marked_block
from .camera import take
from .colours import draw_part_colour
from .fonts import find_fonts
from .lines import LETTERS, Words, draw_code, draw_lot, draw_name, draw_teeth, draw_words
from .marks import PROCESSES
from .parts import draw_part, flat_places
from .places import Place, straight
from .scenes import Canvas, Shown, bare_canvas, lay, light, placement, shown_line, spoil, visibility

SIZES = ((1512, 2016), (1200, 1600), (1368, 1824), (1080, 1920), (1800, 2400), (2268, 3024))
_TWINS = ("0O", "8B", "1I", "5S", "2Z", "6G", "0D", "UV", "1L", "7T", "3B", "4A", "CG", "MN")
_VARIANTS = ("S", "M", "L", "A", "V2")
_ASIDE = ("R", "H", ">", "&")
MOST_TRIES = 12
"""So often a photo is drawn anew while its code hardly shows or leaves the picture."""


@dataclass(frozen=True)
class Plan:
    """What a photo is to show: lines of words, and the truth about them."""

    words: tuple[Words, ...]
    code: str | None
    variant: str | None
    teeth: tuple[int, ...]
    known: bool
    spoilt: str | None
    group: str | None


def draw_codes(rng: np.random.Generator, count: int) -> tuple[list[str], list[str]]:
    """Known codes and unknown ones; three in ten known ones have a listed neighbour one like sign away."""
    known: dict[str, str] = {}
    while len(known) < count:
        code = _with_both(rng)
        known[_key(code)] = code
        near = _neighbour(rng, code)
        if near and rng.random() < 0.3:
            known[_key(near)] = near
    unknown = []
    while len(unknown) < count // 4:
        base = list(known.values())[int(rng.integers(len(known)))]
        code = (_neighbour(rng, base) or _with_both(rng)) if rng.random() < 0.4 else _with_both(rng)
        if _key(code) not in known and _is_code(code):
            unknown.append(code)
    return [code for code in known.values() if _is_code(code)], unknown


def _with_both(rng: np.random.Generator) -> str:
    """A code with letters and digits, four to nine signs, no blank in it."""
    while True:
        code = draw_code(rng).replace("/", "-").replace(".", "-").replace(" ", "-")
        if _is_code(code):
            return code


def _is_code(code: str) -> bool:
    key = _key(code)
    whole = 4 <= len(key) <= 9 and any(c.isdigit() for c in key) and any(c.isalpha() for c in key)
    return whole and code.count("-") <= 1 and not re.fullmatch(r"\d+-\d+T?|\d\dT", code)


def _key(code: str) -> str:
    return "".join(sign for sign in code if sign.isalnum())


def _neighbour(rng: np.random.Generator, code: str) -> str | None:
    places = [(i, pair.replace(sign, "")) for i, sign in enumerate(code) for pair in _TWINS if sign in pair]
    if not places:
        return None
    at, other = places[int(rng.integers(len(places)))]
    return code[:at] + other + code[at + 1 :]


def plan_photo(rng: np.random.Generator, known: Sequence[str], unknown: Sequence[str]) -> Plan:
    """One photo's words; about one in six has no legible code."""
    chance = rng.random()
    spoilt = str(rng.choice(("blank", "blur", "dark", "glare", "tiny"))) if chance < 0.1 else None
    if chance < 0.16 and spoilt is None:
        return _teeth_only(rng)
    is_known = rng.random() < 0.78
    pool = known if is_known else unknown
    code = pool[int(rng.integers(len(pool)))]
    text, variant, teeth = code, None, ()
    after = rng.random()
    if after < 0.25:
        variant = str(rng.choice(_VARIANTS))
        text += f" {variant}"
    elif after < 0.35:
        shown = draw_teeth(rng)
        teeth = _counts(shown)
        text += f" {shown}"
    elif after < 0.43:
        text += f" {rng.choice(list(_ASIDE))}"
    lines = [Words(text, text, "code")]
    if rng.random() < 0.3:
        lines.insert(0, draw_words(rng, "maker"))
    if not teeth and rng.random() < 0.2:
        shown = draw_teeth(rng)
        teeth = _counts(shown)
        lines.append(Words(shown, shown, "teeth"))
    if rng.random() < 0.4:
        lot = draw_lot(rng) if rng.random() < 0.6 else f"MADE IN {draw_name(rng)}"
        lines.append(Words(lot, lot, "lot"))
    if spoilt:
        return Plan(tuple(lines), None, None, (), False, spoilt, None)
    return Plan(tuple(lines), code, variant, teeth, is_known, None, None)


def _teeth_only(rng: np.random.Generator) -> Plan:
    shown = draw_teeth(rng)
    lines = [Words(shown, shown, "teeth")]
    if rng.random() < 0.6:
        lot = f"{rng.choice(list(LETTERS))}{rng.choice(list(LETTERS))} {rng.integers(0, 10000):04d}"
        lines.append(Words(lot, lot, "lot"))
    return Plan(tuple(lines), None, None, _counts(shown), False, None, None)


def _counts(shown: str) -> tuple[int, ...]:
    return tuple(int(number) for number in re.findall(r"\d+", shown))


def draw_photo(
    rng: np.random.Generator, plan: Plan, block: Block, base: np.ndarray
) -> tuple[np.ndarray, list[Shown], dict[str, Any]]:
    """The photo of a planned block, its lines and how it was made."""
    rows, columns = SIZES[int(rng.integers(len(SIZES)))]
    if rng.random() < 0.4:
        rows, columns = columns, rows
    part = draw_part(rng, rows, columns)
    cap = float(np.exp(rng.uniform(np.log(9), np.log(52))))
    cap = 4.0 if plan.spoilt == "tiny" else cap
    plain = bare_canvas(rng, rows, columns, np.ones(3), cap)
    own = part.albedo[part.mask > 0.9]
    tint = np.float32(base / np.maximum(0.03, own.mean(axis=0) if len(own) else part.albedo.mean(axis=(0, 1))))
    canvas = Canvas(plain.height + part.height_map, np.clip(plain.albedo * part.albedo * tint, 0, 1), plain.gloss)
    places = flat_places(part, rng) or [Place(columns / 2, rows / 2, 0.0, columns / 2, rows / 4)]
    x, y, angle, length, height = (float(v) for v in straight(places[int(rng.integers(min(3, len(places))))])[:5])
    high, wide = block.mark.height.shape
    cap = max(4.0, min(cap, 1.2 * CAP_PX * length / wide, 1.4 * CAP_PX * height / high))
    turned = angle + float(rng.choice((0, 180))) + float(rng.normal(0, 5))
    matrix = placement(rng, block, x, y, turned, cap)
    bare = canvas.copy()
    if plan.spoilt != "blank":
        lay(canvas, block, matrix, cap / CAP_PX)
    lines = [shown_line(line, matrix) for line in block.lines]
    lit, change = light(rng, bare, canvas, cap)
    seen = max((visibility(line, lit, change) for line in lines[:2]), default=0.0)
    lit = spoil(rng, lit, cap) if plan.spoilt is None else lit
    scene = part.mask[:, :, None] * lit + (1 - part.mask[:, :, None]) * draw_backdrop(rng, rows, columns)
    blur = cap * 0.09 * float(rng.random()) ** 2
    pixels = _spoilt(rng, scene.astype(np.float32), plan, cap, blur, (x, y), length)
    made = {"cap": round(cap, 1), "seen": round(seen, 2), "blur": round(blur / cap, 3), "spoil": plan.spoilt}
    return pixels, lines, made


def _spoilt(
    rng: np.random.Generator, scene: np.ndarray, plan: Plan, cap: float, blur: float, at: tuple[float, float],
    length: float,
) -> np.ndarray:  # fmt: skip
    if plan.spoilt == "blur":
        return take(rng, scene, cap * float(rng.uniform(0.7, 1.2)))
    if plan.spoilt == "dark":
        grain = rng.normal(0, 0.012, scene.shape).astype(np.float32)
        return (np.clip(scene * 0.02 + grain, 0, 1) * 255).astype(np.uint8)
    if plan.spoilt == "glare":
        rows, columns = scene.shape[:2]
        gx = (np.arange(columns, dtype=np.float32) - at[0]) ** 2
        gy = (np.arange(rows, dtype=np.float32) - at[1]) ** 2
        scene = scene + 4 * np.exp(-(gx[None, :] + gy[:, None]) / (0.6 * max(length, 4 * cap)) ** 2)[:, :, None]
        return (np.clip(scene, 0, 1) * 255).astype(np.uint8)
    return take(rng, scene, blur)


def legibility(plan: Plan, made: dict[str, Any]) -> str:
    """What a person would say of the photo, by the size, sharpness and contrast it was made with."""
    if plan.spoilt:
        return "none"
    if made["seen"] > 2.2 and made["cap"] >= 15 and made["blur"] < 0.05:
        return "easy"
    return "medium" if made["seen"] > 1.3 and made["cap"] >= 11 and made["blur"] < 0.075 else "hard"


def make_photo(number: int, plan: Plan, seed: int, fonts: Sequence[Path], out: Path) -> dict[str, Any]:
    """Draw and write one photo → its line of truth. Photos of one group show one block, each in a light of its own."""
    cv2.setNumThreads(1)
    block_rng = np.random.default_rng((seed, int(plan.group[1:]) + 10**6 if plan.group else number))
    base = draw_part_colour(block_rng)
    process = str(block_rng.choice(PROCESSES))
    block = draw_marked_block(block_rng, fonts, base, plan.words, process)
    tries = 0
    while True:
        pixels, lines, made = draw_photo(np.random.default_rng((seed, number, tries)), plan, block, base)
        tries += 1
        if plan.spoilt or (made["seen"] > 0.9 and _inside(lines, pixels)) or tries == MOST_TRIES:
            break
    name = f"photo-{number:03d}.jpg"
    cv2.imwrite(str(out / name), pixels[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    box = next((line.box.upright().as_list() for line in lines if line.words.role in ("code", "teeth")), None)
    return {
        "file": name, "code": plan.code, "variant": plan.variant, "teeth": list(plan.teeth),
        "bbox": [round(v) for v in box] if box and not plan.spoilt else None, "legibility": legibility(plan, made),
        "process": None if plan.spoilt == "blank" else process, "known": plan.known, "group": plan.group, "made": made,
    }  # fmt: skip


def _inside(lines: Sequence[Shown], pixels: np.ndarray) -> bool:
    return all(
        (line.box.outline() > 0).all() and (line.box.outline() < (pixels.shape[1], pixels.shape[0])).all()
        for line in lines
        if line.words.role in ("code", "teeth")
    )


def main() -> None:
    """Write a set."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fonts", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--seen-fonts", action="store_true")
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    known, unknown = draw_codes(rng, 400)
    plans: list[Plan] = []
    while len(plans) < args.count:
        plan = plan_photo(rng, known, unknown)
        if plan.code and rng.random() < 0.05:
            group = f"g{len(plans):02d}"
            plans += [Plan(plan.words, plan.code, plan.variant, plan.teeth, plan.known, None, group)] * 3
        else:
            plans.append(plan)
    args.out.mkdir(parents=True, exist_ok=True)
    fonts = find_fonts(args.fonts, not args.seen_fonts)
    draw = partial(_numbered, seed=args.seed, fonts=fonts, out=args.out)
    with Pool(2) as pool:
        truths = pool.map(draw, list(enumerate(plans[: args.count])), chunksize=4)
    (args.out / "truth.jsonl").write_text("".join(json.dumps(truth) + "\n" for truth in truths), encoding="utf-8")
    (args.out / "known_codes.txt").write_text("\n".join(sorted(known)) + "\n", encoding="utf-8")


def _numbered(item: tuple[int, Plan], seed: int, fonts: Sequence[Path], out: Path) -> dict[str, Any]:
    return make_photo(item[0], item[1], seed, fonts, out)


if __name__ == "__main__":
    main()
