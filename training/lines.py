"""The words that stand on parts: codes beside makers, lots, countries, tooth counts and marks, all drawn at random.

Nothing here knows a real maker or code: letters and digits come from a random generator, in the shapes that model codes
have in the trade (letters then digits, groups joined by a hyphen, a version behind a space).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
DIGITS = "0123456789"
CONFUSED = "0O8B1I5S2Z6GQDUVCJLT7Y4AKXMNHWRPEF93"
"""Signs that are often mistaken for each other; they are drawn more often than the others."""
_VOWELS, _CONSONANTS = "AEIOUY", "BCDFGHJKLMNPRSTVWXZ"
_SIZES = ("S", "M", "L", "XL", "A", "B", "V2", "V3", "R", "H", "E", "GS")
_COUNTRY = ("MADE IN", "ASSEMBLED IN", "MFD IN", "DESIGNED IN", "MADE IN", "PRODUCT OF")
_WARNINGS = ("DO NOT PAINT", "KEEP DRY", "FRONT", "REAR", "LEFT", "RIGHT", "MAX", "MIN", "OIL", "PAT PEND", "TORQUE")


@dataclass(frozen=True)
class Words:
    """One line as drawn and as it is to be read: ``shown`` may have lower case, ``label`` is in upper case."""

    shown: str
    label: str
    role: str


def draw_sign(rng: np.random.Generator, kind: str) -> str:
    """One sign of a kind: "A" a letter, "9" a digit, "?" either, "C" one that is often confused."""
    pool = {"A": LETTERS, "9": DIGITS, "?": LETTERS + DIGITS, "C": CONFUSED}[kind]
    return pool[int(rng.integers(len(pool)))]


def draw_code(rng: np.random.Generator) -> str:
    """A model code of a random shape, four to ten signs with letters and digits."""
    shape = _code_shape(rng)
    signs = []
    for kind in shape:
        if kind in "-./ ":
            signs.append(kind)
            continue
        confused = rng.random() < 0.3
        pool = (
            [s for s in CONFUSED if (s.isdigit() if kind == "9" else s.isalpha())] if confused and kind != "?" else []
        )
        signs.append(str(rng.choice(pool)) if pool else draw_sign(rng, kind))
    return "".join(signs)


def _code_shape(rng: np.random.Generator) -> str:
    style = rng.random()
    if style < 0.42:
        shape = "A" * int(rng.integers(1, 5)) + "9" * int(rng.integers(2, 6))
    elif style < 0.62:
        shape = "A" * int(rng.integers(1, 4)) + "-" + "9" * int(rng.integers(2, 6))
    elif style < 0.8:
        shape = "A" * int(rng.integers(1, 3)) + "9" * int(rng.integers(1, 4)) + "-" + "?" * int(rng.integers(2, 6))
    else:
        shape = "".join("A9?"[int(rng.choice(3, p=(0.35, 0.4, 0.25)))] for _ in range(int(rng.integers(4, 9))))
    if rng.random() < 0.12:
        shape += "A"
    if rng.random() < 0.08:
        shape += "-" + ("A" if rng.random() < 0.5 else "9") * int(rng.integers(1, 3))
    return shape


def draw_name(rng: np.random.Generator) -> str:
    """An invented word, four to nine letters."""
    signs = []
    vowel = rng.random() < 0.3
    for _ in range(int(rng.integers(4, 10))):
        pool = _VOWELS if vowel else _CONSONANTS
        signs.append(pool[int(rng.integers(len(pool)))])
        vowel = not vowel if rng.random() < 0.8 else vowel
    return "".join(signs)


def draw_teeth(rng: np.random.Generator) -> str:
    """Tooth counts as they are stamped: "50-34T", "11-28", "52T"."""
    tail = "T" if rng.random() < 0.6 else ""
    style = rng.random()
    if style < 0.4:
        return f"{rng.integers(9, 16)}-{rng.integers(19, 56)}{tail}"
    if style < 0.75:
        joint = "-" if rng.random() < 0.8 else "/"
        big = int(rng.integers(38, 62))
        return f"{big}{joint}{rng.integers(20, min(46, big))}{tail}"
    return f"{rng.integers(9, 62)}T"


def draw_lot(rng: np.random.Generator) -> str:
    """A lot or date code: "KW 0417", "6 QD", "0421", "LOT 2231"."""
    style = rng.random()
    if style < 0.35:
        return f"{draw_sign(rng, 'A')}{draw_sign(rng, 'A')} {rng.integers(0, 10000):04d}"
    if style < 0.6:
        return f"{rng.integers(0, 10)} {draw_sign(rng, 'A')}{draw_sign(rng, 'A')}"
    if style < 0.8:
        return f"{rng.integers(0, 10 ** int(rng.integers(3, 7))):03d}"
    if style < 0.9:
        return f"{rng.choice(['LOT', 'NO', 'BATCH', 'SN', 'P/N'])} {rng.integers(0, 100000)}"
    return f"{rng.integers(1, 13):02d}/{rng.integers(10, 30)}"


def draw_jumble(rng: np.random.Generator) -> str:
    """Signs without any rule, so that no sequence of them is learnt as likelier than another."""
    count = int(rng.integers(2, 12))
    kinds = rng.choice(list("A9?C"), count)
    text = "".join(draw_sign(rng, kind) for kind in kinds)
    if count > 4 and rng.random() < 0.35:
        cut = int(rng.integers(2, count - 1))
        text = text[:cut] + str(rng.choice(list("-./ "))) + text[cut:]
    return text


def draw_words(rng: np.random.Generator, role: str) -> Words:
    """A line for a role: ``code``, ``maker``, ``lot``, ``country``, ``teeth``, ``warning`` or ``jumble``."""
    if role == "code":
        text = _code_line(rng)
    elif role == "country":
        text = f"{rng.choice(_COUNTRY)} {draw_name(rng)}"
    elif role == "warning":
        text = str(rng.choice(_WARNINGS))
    else:
        text = {"maker": draw_name, "lot": draw_lot, "teeth": draw_teeth, "jumble": draw_jumble}[role](rng)
    lower = rng.random() < {"country": 0.35, "maker": 0.25, "warning": 0.3}.get(role, 0.015)
    shown = (text.title() if rng.random() < 0.6 else text.lower()) if lower else text
    label = "".join("*" if sign in _OTHER_MARKS else sign for sign in text.upper())
    return Words(shown, label, role)


_OTHER_MARKS = frozenset(">&()+#:,<=")


def _code_line(rng: np.random.Generator) -> str:
    text = draw_code(rng)
    chance = rng.random()
    if chance < 0.22:
        text += " " + str(rng.choice(_SIZES))
    elif chance < 0.34:
        text += " " + draw_teeth(rng)
    elif chance < 0.4:
        text += " " + str(rng.choice(list(">&+#")))
    if rng.random() < 0.12:
        text = draw_name(rng) + " " + text
    elif rng.random() < 0.04:
        text = f"({text})"
    return text


ROLES = ("code", "maker", "lot", "country", "teeth", "warning", "jumble")


def draw_block(rng: np.random.Generator) -> list[Words]:
    """One to four lines that stand together on a part; where there would be a fifth, the maker's goes."""
    lines = [draw_words(rng, "code" if rng.random() < 0.8 else "teeth")]
    if rng.random() < 0.35:
        lines.insert(0, draw_words(rng, "maker"))
    for _ in range(int(rng.choice(4, p=(0.4, 0.35, 0.18, 0.07)))):
        role = str(rng.choice(ROLES, p=(0.08, 0.05, 0.35, 0.16, 0.2, 0.06, 0.1)))
        lines.insert(int(rng.integers(1, len(lines) + 1)), draw_words(rng, role))
    return lines[-4:]
