"""Model codes and variants as people print, stamp and type them → the form in which they are compared."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_CAGE_WORDS = re.compile(
    r"\b(cage|k[äa]e?fig\w*|version|ausf[üu]e?hrung|chape|gabbia|caja|jaula|pata|kooi|type|typ|tipo|length)\b",
    re.IGNORECASE,
)
_SIZES: dict[str, frozenset[str]] = {
    "S": frozenset("S SHORT KURZ KURZER KURZE COURT COURTE CORTO CORTA KORT KORTE".split()),
    "M": frozenset(
        "M MEDIUM MID MITTEL MITTLERER MITTLERE MOYEN MOYENNE MEDIO MEDIA MIDDEL MIDDELLANG MIDDELLANGE".split()
    ),
    "L": frozenset("L LONG LANG LANGER LANGE LONGUE LUNGO LUNGA LARGO LARGA".split()),
}
SHORTEST_BASE = 3
"""Signs that a base code must have before a longer code can be one of its variants."""
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_COMPANY_FORMS = frozenset(
    "AB AG AS BV CO CORP CORPORATION CV GMBH INC KG KK LLC LTD LIMITED NV OY PLC PTY SA SARL SAS SL SPA SRL".split()
)
LOOKALIKES = ("OQILZSBG", "00112586")
"""Letters that are easily taken for digits, and those digits."""
_LOOKALIKES = str.maketrans(*LOOKALIKES)


@lru_cache(maxsize=50_000)
def squash(text: str | None) -> str:
    """``text`` without case, spaces, punctuation and accents: ``"twx-240 É"`` → ``"TWX240E"``."""
    folded = unicodedata.normalize("NFKD", text or "").upper()
    return "".join(c for c in folded if c.isalnum() and not unicodedata.combining(c))


def code_key(code: str | None) -> str:
    """A model code as compared: ``"TWX 240"``, ``"TWX-240"`` and ``"twx240"`` are one part."""
    return squash(code)


def family_key(code: str | None) -> str:
    """What every code shares that can be a version of one base: the code without its trailing letters.

    At least ``SHORTEST_BASE`` signs stay: ``"KX71M"`` and ``"KX71"`` give ``"KX71"``, ``"ABCDE"`` gives ``"ABC"``.
    """
    key = code_key(code)
    return key[:SHORTEST_BASE] + key[SHORTEST_BASE:].rstrip(_LETTERS) if key.isascii() else _family_of(key)


def _family_of(key: str) -> str:
    end = len(key)
    while end > SHORTEST_BASE and key[end - 1].isalpha():
        end -= 1
    return key[:end]


def maker_key(maker: str | None) -> str:
    """A maker as compared: words for the form of a company dropped, case, spaces and accents ignored.

    >>> maker_key("Brambel Works GmbH & Co. KG") == maker_key("BRAMBEL works")
    True
    """
    words = [squash(word) for word in re.split(r"[\s,&]+", maker or "")]
    named = [word for word in words if word and word not in _COMPANY_FORMS]
    return "".join(named) or squash(maker)


def lookalike_key(code: str | None) -> str:
    """A model code with the signs that are easily taken for one another folded (O and 0, B and 8, …)."""
    return squash(code).translate(_LOOKALIKES)


def variant_key(variant: str | None) -> str:
    """A variant as compared: words for cage dropped, short, medium and long in six languages folded to S, M and L.

    ``None`` and blank give ``""``, which stands for the part without a variant.
    """
    if variant is None:
        return ""
    bare = squash(_CAGE_WORDS.sub(" ", variant)) or squash(variant)
    return next((size for size, words in _SIZES.items() if bare in words), bare)


def part_label(code: str, variant: str | None) -> str:
    """A part as shown to people: the code, and the variant behind it where there is one."""
    return f"{code} {variant}" if variant else code
