"""A large made-up store: documents and claims as Arrow tables, alike for alike seeds.

Makers, codes and numbers are invented. Shares that matter to how a store behaves are set by hand: half of the rear
derailleurs come in two or three cages, 6 of 100 claims are stated by a second document too, of which 1 in 20 says
something else, and 1 of 100 parts replaces another.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Any

from cogledger.schema.claims import Box, Claim, claim_ids
from cogledger.schema.limits import LIMITS

_SYLLABLES = ("bram", "tor", "vel", "hol", "quin", "mar", "lend", "fir", "oss", "rusk", "dal", "wen", "gard", "pell",
              "stro", "kest")  # fmt: skip
_LETTERS = "ABCDEFGHJKLMNPQRTUVWXYZ"
_READ_AT = datetime(2021, 3, 1)
PARTS_A_DOCUMENT = 50


@dataclass(frozen=True)
class DataSettings:
    """How many parts (variants counted apart), and the seed."""

    parts: int = 1_000_000
    seed: int = 11
    second_document: float = 0.06
    disagreeing: float = 0.05


@dataclass(frozen=True)
class MadeDocument:
    """One document: its row's fields, and the claims it makes in order."""

    sha256: str
    name: str
    maker: str
    dated: datetime
    claims: tuple[Claim, ...]

    def ids(self) -> list[str]:
        """The ids of the claims."""
        return claim_ids(self.sha256, list(self.claims))


def make_maker(number: int) -> tuple[str, str]:
    """A maker's name, and the letters that its codes begin with; no two makers share either."""
    size = len(_SYLLABLES)
    first, second, third = number % size, number // size % size, number // size // size
    name = (_SYLLABLES[first] + _SYLLABLES[second] + ("" if not third else _SYLLABLES[third % size])).title()
    letters, rest = "", number
    for _ in range(3):
        letters, rest = letters + _LETTERS[rest % len(_LETTERS)], rest // len(_LETTERS)
    return name, letters


def list_documents(settings: DataSettings) -> list[tuple[str, int, str]]:
    """Hash, number and sort of every document of a store of that size, in the order of the hashes."""
    numbers = range(-(-settings.parts // PARTS_A_DOCUMENT))
    return sorted((_hash(_name(number, sort)), number, sort) for number in numbers for sort in ("sheet", "dealer"))


def make_document(settings: DataSettings, number: int, sort: str) -> MadeDocument:
    """The document of that number: the maker's sheet of some 50 parts, or what a dealer says of a few of them."""
    chance = Random(f"{settings.seed}-{number}")
    maker, letters = make_maker(number // 20)
    sheet: list[Claim] = []
    count = 0
    while count < PARTS_A_DOCUMENT:
        code = f"{letters}{number % 20}{len(sheet) % 10}{count:02d}"
        count += _make_part(chance, maker, code, sheet)
    claims = sheet
    if sort == "dealer":
        again = [claim for claim in sheet if chance.random() < settings.second_document]
        claims = [_other(chance, claim) if chance.random() < settings.disagreeing else claim for claim in again]
    name = _name(number, sort)
    placed = tuple(_placed(claim, name, position) for position, claim in enumerate(claims))
    return MadeDocument(_hash(name), name, maker, _READ_AT - timedelta(days=number % 4000), placed)


def _name(number: int, sort: str) -> str:
    return f"{make_maker(number // 20)[0].lower()}-{sort}-{number}.pdf"


def _hash(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def _placed(claim: Claim, document: str, position: int) -> Claim:
    top = 80.0 + position % 50 * 14
    fields: dict[str, Any] = {name: getattr(claim, name) for name in Claim.__dataclass_fields__}
    return Claim(
        **(fields | {"document": document, "page": 1 + position // 50, "bbox": Box(310.0, top, 342.5, top + 9)})
    )


def _other(chance: Random, claim: Claim) -> Claim:
    fields: dict[str, Any] = {name: getattr(claim, name) for name in Claim.__dataclass_fields__}
    if claim.high is not None and claim.low is None:
        fields["high"] = claim.high + chance.choice((-2, -1, 1, 2))
    return Claim(**fields)


def _make_part(chance: Random, maker: str, code: str, claims: list[Claim]) -> int:
    """Add the claims of one code; how many variants it has."""
    kind = chance.choices(("rear_derailleur", "front_derailleur", "cassette", "crankset", "chain", "shifter"),
                          (30, 14, 24, 14, 8, 10))[0]  # fmt: skip
    speeds = float(chance.choice((8, 9, 10, 11, 12)))
    cages: tuple[str | None, ...] = (None,)
    if kind == "rear_derailleur":
        cages = chance.choice(((None,), (None,), ("M", "L"), ("S", "M", "L")))
    for step, cage in enumerate(cages):
        for limit, value in _values(chance, kind, speeds, step).items():
            claims.append(_claim(maker, code, cage, kind, limit, value, round(chance.uniform(0.85, 0.995), 4)))
    if chance.random() < 0.01:
        older = code[:-1] + str((int(code[-1]) + 1) % 10)
        claims.append(_claim(maker, code, cages[0], kind, "replaces", {"text": older}, 0.97))
    return len(cages)


def _values(chance: Random, kind: str, speeds: float, step: int) -> dict[str, dict[str, Any]]:
    """The limits of one variant: key → fields of the value."""
    rear = {"rear_speeds": {"values": (speeds,)}}
    if kind == "rear_derailleur":
        largest = chance.choice((28, 30, 32)) + 4.0 * step
        return rear | {
            "largest_cog": {"low": largest - 6, "high": largest}, "smallest_cog": {"low": 11.0},
            "total_capacity": {"high": chance.choice((33, 35, 37)) + 4.0 * step}, "front_difference": {"high": 16.0},
            "cage_pulley_spacing": {"low": 56.0 + 12 * step, "high": 56.0 + 12 * step},
            "weight": {"low": (w := 190.0 + chance.randrange(90)), "high": w},
        }  # fmt: skip
    if kind == "front_derailleur":
        return rear | {
            "big_ring": {"low": 46.0, "high": chance.choice((50.0, 52.0, 53.0))}, "front_difference": {"high": 16.0},
            "ring_count": {"values": (2.0,)}, "chainline": {"low": 43.5, "high": 43.5},
            "clamp_diameter": {"values": (31.8,)},
        }  # fmt: skip
    if kind == "cassette":
        cogs = (11.0, 12, 13, 14, 15, 17, 19, 21, 23, 25, 28, 32)[: int(speeds)]
        return rear | {"cogs": {"values": tuple(map(float, cogs))}, "freehub_fit": {"text": "splined 9"},
                       "weight": {"low": (w := 220.0 + chance.randrange(150)), "high": w}}  # fmt: skip
    if kind == "crankset":
        return rear | {"rings": {"values": chance.choice(((50.0, 34.0), (52.0, 36.0), (48.0, 31.0)))},
                       "bolt_circle": {"low": 110.0, "high": 110.0}, "chainline": {"low": 43.5, "high": 43.5},
                       "crank_length": {"values": (165.0, 170.0, 172.5)}, "ring_count": {"values": (2.0,)}}  # fmt: skip
    if kind == "chain":
        return rear | {"link_count": {"values": (114.0,)}, "pin_length": {"low": 5.6, "high": 5.6},
                       "weight": {"low": 252.0, "high": 252.0}}  # fmt: skip
    return rear | {"ring_count": {"values": (2.0,)}, "actuation": {"text": "cable"},
                   "shift_family": {"text": f"pull {int(speeds)}"}}  # fmt: skip


def _claim(
    maker: str, code: str, variant: str | None, kind: str, limit: str, value: dict[str, Any], confidence: float
) -> Claim:
    unit = LIMITS[limit].unit
    said = value.get("text") or json.dumps(value.get("values") or [value.get("low"), value.get("high")])
    return Claim("", 1, None, maker, code, variant, kind, limit, unit=str(unit) if unit else None,
                 snippet=f"{limit.replace('_', ' ')}: {said}", method="text/table:ruled", confidence=confidence,
                 **value)  # fmt: skip
