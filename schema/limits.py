"""The table of limit keys: which parts have them, their form, their unit and which numbers are plausible.

This is the one place that says what a limit is. The vocabulary page of the docs, the JSON Schema of a claim, the frame
schema that validates claims, the lexicon's tests and the build file's reading of lone numbers all derive from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType


class PartKind(StrEnum):
    """The kinds of part that limits belong to."""

    REAR_DERAILLEUR = "rear_derailleur"
    FRONT_DERAILLEUR = "front_derailleur"
    CASSETTE = "cassette"
    FREEWHEEL = "freewheel"
    CRANKSET = "crankset"
    CHAINRING = "chainring"
    CHAIN = "chain"
    SHIFTER = "shifter"
    HANGER_EXTENDER = "hanger_extender"


class Form(StrEnum):
    """How the value of a limit is written in a claim."""

    HIGH = "high"
    """One number, a maximum: ``high``."""
    LOW = "low"
    """One number, a minimum: ``low``."""
    RANGE = "low/high"
    """Bounds, both inclusive, one of which may be open."""
    EXACT = "exact"
    """One number, written as equal ``low`` and ``high``."""
    EXACT_OR_RANGE = "exact or low/high"
    """One number or two bounds."""
    VALUES = "values"
    """A set of alternatives, in any order."""
    ORDERED = "values, ordered"
    """A list whose order matters: cogs smallest first, rings largest first."""
    TEXT = "text"
    """Words."""


class Unit(StrEnum):
    """Units of a claim. Teeth are written ``T``."""

    TEETH = "T"
    MILLIMETRE = "mm"
    DEGREE = "deg"
    GRAM = "g"
    LINKS = "links"
    COUNT = "count"


@dataclass(frozen=True)
class LimitKey:
    """One limit of the vocabulary.

    ``plausible`` are inclusive bounds for every single number of a value, common workshop practice without a source
    unless the chain standards ISO 606 and ISO 9633 give one; a number outside them is held back, never deleted.
    ``lone_bound`` says which bound a lone number means where the form is a range. ``choices`` are the only words that
    a text limit may hold, empty where any words do. ``most_values`` bounds the length of a list.
    """

    key: str
    kinds: tuple[PartKind, ...]
    form: Form
    unit: Unit | None
    meaning: str
    plausible: tuple[float, float] | None = None
    lone_bound: str | None = None
    choices: tuple[str, ...] = ()
    most_values: int = 16
    whole: bool = False


_ALL = tuple(PartKind)
_REAR = (PartKind.REAR_DERAILLEUR,)
_FRONT = (PartKind.FRONT_DERAILLEUR,)
_BOTH = _REAR + _FRONT
_SHIFTED = (*_BOTH, PartKind.SHIFTER)
_RINGED = (PartKind.CRANKSET, PartKind.CHAINRING)
_CHAIN = (PartKind.CHAIN,)
_EXTENDER = (PartKind.HANGER_EXTENDER,)
_SPEEDS = tuple(k for k in PartKind if k not in (PartKind.CHAINRING, PartKind.HANGER_EXTENDER))

# fmt: off
_ROWS = (
    LimitKey("total_capacity", _REAR, Form.HIGH, Unit.TEETH,
             "most chain slack the cage takes up: (big ring - small ring) + (largest cog - smallest cog)",
             plausible=(10, 60), whole=True),
    LimitKey("largest_cog", _REAR + _EXTENDER, Form.RANGE, Unit.TEETH,
             "sizes allowed for the cassette's largest cog", plausible=(21, 60), lone_bound="high", whole=True),
    LimitKey("smallest_cog", _REAR, Form.RANGE, Unit.TEETH,
             "sizes allowed for the cassette's smallest cog", plausible=(9, 20), lone_bound="low", whole=True),
    LimitKey("front_difference", _BOTH, Form.HIGH, Unit.TEETH,
             "most difference between biggest and smallest chainring", plausible=(0, 26), whole=True),
    LimitKey("big_ring", _FRONT, Form.RANGE, Unit.TEETH,
             "sizes allowed for the biggest chainring", plausible=(20, 60), lone_bound="high", whole=True),
    LimitKey("small_ring", _FRONT, Form.RANGE, Unit.TEETH,
             "sizes allowed for the smallest chainring", plausible=(14, 60), lone_bound="low", whole=True),
    LimitKey("ring_step", _FRONT, Form.LOW, Unit.TEETH,
             "least difference between biggest and middle ring (triples)", plausible=(1, 20), whole=True),
    LimitKey("ring_count", (*_BOTH, PartKind.CRANKSET, PartKind.SHIFTER), Form.VALUES, Unit.COUNT,
             "number of chainrings", plausible=(1, 3), most_values=3, whole=True),
    LimitKey("rear_speeds", _SPEEDS, Form.VALUES, Unit.COUNT,
             "number of rear cogs it is made for", plausible=(1, 14), most_values=8, whole=True),
    LimitKey("cage_pulley_spacing", _REAR, Form.EXACT, Unit.MILLIMETRE,
             "distance between the two pulley axes", plausible=(40, 110)),
    LimitKey("chainline", (*_FRONT, PartKind.CRANKSET), Form.EXACT_OR_RANGE, Unit.MILLIMETRE,
             "distance from the middle plane of the bike to the middle of the rings", plausible=(38, 62)),
    LimitKey("chainstay_angle", _FRONT, Form.RANGE, Unit.DEGREE,
             "angles allowed between chainstay and seat tube", plausible=(55, 75)),
    LimitKey("clamp_diameter", _FRONT, Form.VALUES, Unit.MILLIMETRE,
             "seat tube diameters that the clamp fits", plausible=(25, 42), most_values=6),
    LimitKey("cogs", (PartKind.CASSETTE, PartKind.FREEWHEEL), Form.ORDERED, Unit.TEETH,
             "every cog, smallest first", plausible=(9, 60), whole=True),
    LimitKey("rings", _RINGED, Form.ORDERED, Unit.TEETH,
             "every ring of the set, largest first", plausible=(18, 64), most_values=3, whole=True),
    LimitKey("bolt_circle", _RINGED, Form.EXACT, Unit.MILLIMETRE, "bolt circle diameter", plausible=(50, 150)),
    LimitKey("bolt_count", _RINGED, Form.EXACT, Unit.COUNT, "number of chainring bolts", plausible=(1, 8), whole=True),
    LimitKey("crank_length", (PartKind.CRANKSET,), Form.VALUES, Unit.MILLIMETRE,
             "crank arm lengths on offer", plausible=(110, 190), most_values=12),
    LimitKey("pin_length", _CHAIN, Form.EXACT, Unit.MILLIMETRE, "outer width over the pins", plausible=(4.5, 10.5)),
    LimitKey("inner_width", _CHAIN, Form.EXACT, Unit.MILLIMETRE, "width between the inner plates", plausible=(2, 4)),
    LimitKey("link_count", _CHAIN, Form.VALUES, Unit.LINKS,
             "links per packet; one link is one 12.7 mm pitch", plausible=(80, 150), most_values=8, whole=True),
    LimitKey("weight", _ALL, Form.EXACT, Unit.GRAM, "mass of the part", plausible=(1, 3000)),
    LimitKey("largest_cog_gain", _EXTENDER, Form.EXACT, Unit.TEETH,
             "teeth it adds to the derailleur's own largest_cog", plausible=(0, 20), whole=True),
    LimitKey("capacity_change", _EXTENDER, Form.EXACT, Unit.TEETH,
             "teeth it adds to total_capacity (usually 0)", plausible=(-10, 10), whole=True),
    LimitKey("actuation", _SHIFTED, Form.TEXT, None, "what moves it", choices=("cable", "electronic", "hydraulic")),
    LimitKey("shift_family", _SHIFTED, Form.TEXT, None, "the maker's own name for parts that index together"),
    LimitKey("mount", _BOTH, Form.TEXT, None, "what it is bolted to",
             choices=("hanger", "direct", "clamp", "braze-on")),
    LimitKey("freehub_fit", (PartKind.CASSETTE,), Form.TEXT, None, "the body it slides on, as printed"),
    LimitKey("firmware_min", _SHIFTED, Form.TEXT, None, "least firmware version"),
    LimitKey("replaces", _ALL, Form.TEXT, None, "model code that this part supersedes"),
)
# fmt: on

LIMITS: MappingProxyType[str, LimitKey] = MappingProxyType({row.key: row for row in _ROWS})
"""Every limit by its key, in the vocabulary's order."""


def limits_of(kind: PartKind | str) -> tuple[LimitKey, ...]:
    """The limits that parts of ``kind`` can have, in the vocabulary's order."""
    return tuple(row for row in _ROWS if kind in row.kinds)
