"""Build file (TOML text, or the same fields as a mapping) → ``Build``, or every fault in it with its place."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from rapidfuzz import fuzz, process

from .build_values import COGS, RINGS, NotationError, is_teeth, parse_limit, parse_teeth, parse_text
from .errors import BuildError, Fault
from .limits import LIMITS, PartKind, limits_of
from .reasons import Reason
from .resolved import LimitValue, SourceRef
from .tyres import Tyre, parse_tyre

PHOTO_MARK = "photo:"


class Slot(StrEnum):
    """The places of a bike that a build names a part for."""

    REAR_DERAILLEUR = "rear_derailleur"
    FRONT_DERAILLEUR = "front_derailleur"
    CASSETTE = "cassette"
    FREEWHEEL = "freewheel"
    CRANKSET = "crankset"
    RINGS = "rings"
    SHIFTER = "shifter"
    CHAIN = "chain"
    HANGER_EXTENDER = "hanger_extender"

    @property
    def kind(self) -> PartKind:
        """The kind of part that sits there; rings by themselves are chainrings."""
        return PartKind.CHAINRING if self is Slot.RINGS else PartKind(self.value)

    @property
    def words(self) -> str:
        """The slot as a sentence names it."""
        return self.value.replace("_", " ")


@dataclass(frozen=True)
class CodeRef:
    """A part by its model code, with or without the variant behind it; ``seen`` is the photo that it was read from."""

    written: str
    seen: SourceRef | None = None


@dataclass(frozen=True)
class PhotoRef:
    """A part by a photo of its stamp; ``path`` is taken from the build file's folder."""

    written: str
    path: Path


@dataclass(frozen=True)
class WrittenPart:
    """A part written out in the build itself, with its limits in the order written; or read from the photo ``seen``."""

    written: str
    limits: tuple[LimitValue, ...]
    seen: SourceRef | None = None


Entry = CodeRef | PhotoRef | WrittenPart


@dataclass(frozen=True)
class Placed:
    """A part of the bike and the key of the build file that put it there (``wish.cassette``)."""

    slot: Slot
    entry: Entry
    where: str


@dataclass(frozen=True)
class Bike:
    """What frame and wheels offer; lengths in millimetres, ``None`` where the build does not say."""

    chainstay_mm: float | None = None
    wheel: Tyre | None = None
    freehub: str | None = None
    firmware: str | None = None
    rear_mount: str | None = None
    front_mount: str | None = None
    seat_tube_mm: float | None = None


@dataclass(frozen=True)
class Build:
    """A bike as it is and what would change. In ``wish``, ``None`` takes the part off."""

    name: str
    bike: Bike = field(default_factory=Bike)
    now: Mapping[Slot, Entry] = field(default_factory=dict)
    wish: Mapping[Slot, Entry | None] = field(default_factory=dict)
    file: str | None = None

    def now_parts(self) -> dict[Slot, Placed]:
        """The parts on the bike."""
        return {slot: Placed(slot, entry, f"now.{slot}") for slot, entry in self.now.items()}

    def wished_parts(self) -> dict[Slot, Placed]:
        """The parts after the wish.

        A cassette takes the place of a freewheel and the other way round; a crankset brings its own rings unless the
        wish names rings too.
        """
        parts = self.now_parts()
        for slot, entry in self.wish.items():
            parts.pop(slot, None)
            if entry is None:
                continue
            for goes in _DISPLACES.get(slot, ()):
                if self.wish.get(goes) is None:
                    parts.pop(goes, None)
            parts[slot] = Placed(slot, entry, f"wish.{slot}")
        return {slot: parts[slot] for slot in Slot if slot in parts}


_DISPLACES = {
    Slot.CASSETTE: (Slot.FREEWHEEL,),
    Slot.FREEWHEEL: (Slot.CASSETTE,),
    Slot.CRANKSET: (Slot.RINGS,),
}
_TOP = ("name", "bike", "now", "wish")
_MILLIMETRES = {"chainstay_mm": (200.0, 1000.0), "seat_tube_mm": (20.0, 60.0)}
"""Bounds beyond which no cycle's frame lies; common practice, no source."""


def load_build(path: Path | str) -> Build:
    """The build in a TOML file; ``BuildError`` names every fault, with its place in the file."""
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise BuildError(Reason.NOT_FOUND, "there is no such build file", file=str(path)) from None
    except UnicodeDecodeError:
        raise BuildError(
            Reason.BAD_BUILD, "is no text in UTF-8", file=str(path), advice="save it as plain text in UTF-8"
        ) from None
    except OSError as error:
        message = f"cannot be read ({error.strerror or error})"
        raise BuildError(Reason.NOT_READABLE, message, file=str(path)) from None
    return parse_build(text, path)


def parse_build(text: str, file: Path | str | None = None) -> Build:
    """The build in TOML ``text``; ``file`` names it in errors and is where photos are looked for."""
    try:
        mapping = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = f"is no TOML: {str(error)[:1].lower()}{str(error)[1:]}"
        advice = 'correct that line; text stands in quotes, lists in [ ], as in cassette = "11-32"'
        raise BuildError(Reason.BAD_BUILD, message, file=str(file) if file else None, advice=advice) from None
    return build_from_mapping(mapping, file)


def build_from_mapping(mapping: Mapping[str, Any], file: Path | str | None = None) -> Build:
    """The build with the fields of a build file, as JSON lines and Parquet rows hold them; nulls count as absent."""
    reader = _Reader(Path(file) if file else None)
    build = reader.read(mapping)
    if reader.faults:
        raise _error(reader.faults)
    return build


def with_photos(build: Build, read_photo: Callable[[Slot, PhotoRef, str], Entry]) -> Build:
    """The build with every photo replaced by what ``read_photo`` makes of it; its errors pass through.

    It is called with the slot, the photo, and the key of the build file (``now.cassette``).
    """

    def named(slot: Slot, entry: Entry, where: str) -> Entry:
        return read_photo(slot, entry, f"{where}.{slot}") if isinstance(entry, PhotoRef) else entry

    now = {slot: named(slot, entry, "now") for slot, entry in build.now.items()}
    wish = {slot: entry and named(slot, entry, "wish") for slot, entry in build.wish.items()}
    return replace(build, now=now, wish=wish)


def _error(faults: Sequence[Fault]) -> BuildError:
    first = faults[0]
    more = f" (and {len(faults) - 1} more: {'; '.join(f'{f.where}: {f.message}' for f in faults[1:])})"
    message = first.message + (more if len(faults) > 1 else "")
    return BuildError(
        first.reason, message, file=first.file, where=first.where, advice=first.advice, faults=tuple(faults)
    )


class _Reader:
    """Reads one mapping and gathers what is wrong with it."""

    def __init__(self, file: Path | None) -> None:
        self.file = file
        self.faults: list[Fault] = []

    def object_to(self, where: str, message: str, advice: str | None = None) -> None:
        name = str(self.file) if self.file else None
        self.faults.append(Fault(Reason.BAD_BUILD, message, name, where, advice))

    def read(self, mapping: Mapping[str, Any]) -> Build:
        if not isinstance(mapping, Mapping):
            self.object_to("build", "is no table of name, bike, now and wish")
            return Build("")
        fields = self.keyed(_nested(mapping), "", _TOP)
        name = fields.get("name")
        if name is not None and not isinstance(name, str):
            self.object_to("name", f"{name!r} is not text", "write the name in quotes")
            name = None
        bike = self.read_bike(self.table(fields, "bike"))
        now = {slot: entry for slot, entry in self.read_parts(fields, "now").items() if entry is not None}
        wish = self.read_parts(fields, "wish")
        if not (now or any(wish.values()) or self.faults):
            self.object_to("now", "the build names no part", "name the parts on the bike under [now]")
        fallback = self.file.stem if self.file else "build"
        return Build(name or fallback, bike, now, wish, self.file.name if self.file else None)

    def keyed(self, table: Mapping[str, Any], where: str, known: Sequence[str]) -> dict[str, Any]:
        """The fields of ``table`` that are known and not null; the others become faults."""
        kept = {}
        for key, value in table.items():
            if key in known:
                kept[key] = value
                continue
            near = process.extractOne(str(key), list(known), scorer=fuzz.ratio, score_cutoff=60)
            message = f'"{key}" is not known here' + (f', "{near[0]}" is' if near else "")
            self.object_to(f"{where}{key}", message, None if near else f"use one of: {', '.join(known)}")
        return {key: value for key, value in kept.items() if value is not None}

    def table(self, fields: Mapping[str, Any], name: str) -> Mapping[str, Any]:
        value = fields.get(name, {})
        if isinstance(value, Mapping):
            return value
        self.object_to(name, f"{value!r} is no table", f"write it as a table: [{name}]")
        return {}

    def read_bike(self, table: Mapping[str, Any]) -> Bike:
        known = tuple(Bike.__dataclass_fields__)
        values: dict[str, Any] = {}
        for key, raw in self.keyed(table, "bike.", known).items():
            if raw == "":
                continue
            try:
                values[key] = _BIKE_VALUES[key](raw)
            except (NotationError, ValueError) as error:
                self.object_to(f"bike.{key}", str(error))
        return Bike(**values)

    def read_parts(self, fields: Mapping[str, Any], name: str) -> dict[Slot, Entry | None]:
        parts: dict[Slot, Entry | None] = {}
        for key, raw in self.keyed(self.table(fields, name), f"{name}.", [str(slot) for slot in Slot]).items():
            slot = Slot(key)
            where = f"{name}.{key}"
            if isinstance(raw, Mapping) and raw and all(value is None for value in raw.values()):
                continue
            try:
                parts[slot] = self.read_entry(slot, raw, where)
            except NotationError as error:
                self.object_to(where, str(error))
        if parts.get(Slot.CASSETTE) and parts.get(Slot.FREEWHEEL):
            self.object_to(f"{name}.freewheel", "a wheel carries a cassette or a freewheel, not both", "remove one")
        return parts

    def read_entry(self, slot: Slot, raw: object, where: str) -> Entry | None:
        if isinstance(raw, Mapping):
            return self.read_written(slot, raw, where)
        if isinstance(raw, str):
            words = " ".join(raw.split())
            if not words:
                return None
            if words.casefold().startswith(PHOTO_MARK):
                return self.read_photo(words)
            if slot not in _TEETH or not is_teeth(words):
                return CodeRef(words)
        if slot in _TEETH:
            return WrittenPart(_shown(raw), (parse_teeth(_TEETH[slot], raw),))
        raise NotationError(f"{raw!r} is neither a model code nor a table of limits")

    def read_photo(self, words: str) -> PhotoRef:
        name = words[len(PHOTO_MARK) :].strip()
        if not name:
            raise NotationError(f'"{words}" names no photo')
        return PhotoRef(words, (self.file.parent if self.file else Path()) / name)

    def read_written(self, slot: Slot, table: Mapping[str, Any], where: str) -> Entry | None:
        known = [row.key for row in limits_of(slot.kind)]
        fields = self.keyed(table, f"{where}.", known)
        limits = []
        for key, raw in fields.items():
            try:
                limits.append(parse_limit(LIMITS[key], raw))
            except NotationError as error:
                self.object_to(f"{where}.{key}", str(error))
        if not table:
            raise NotationError("the table is empty; name at least one limit or leave the part out")
        return WrittenPart(_shown(fields), tuple(limits)) if limits else None


_TEETH = {Slot.CASSETTE: COGS, Slot.FREEWHEEL: COGS, Slot.RINGS: RINGS}


def _shown(raw: object) -> str:
    """What was written, short enough to quote as a snippet."""
    return raw if isinstance(raw, str) else json.dumps(raw, ensure_ascii=False, default=str)


def _nested(mapping: Mapping[str, Any]) -> dict[str, Any]:
    """Rows of flat tables as a build file nests them: ``now.cassette`` as a column, or a table as JSON text."""
    nested: dict[str, Any] = {}
    for key, value in mapping.items():
        head, _, tail = str(key).partition(".")
        if isinstance(value, str) and head in _TOP[1:] and value.lstrip()[:1] in ("{", "["):
            value = _from_json(value)
        if not tail or head not in _TOP[1:]:
            already = nested.get(str(key))
            if isinstance(already, dict) and isinstance(value, Mapping):
                value = {**already, **value}
            nested[str(key)] = value
        elif isinstance(table := nested.setdefault(head, {}), dict):
            table[tail] = value
    return nested


def _from_json(text: str) -> object:
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return text


def _millimetres(key: str) -> Callable[[object], float]:
    low, high = _MILLIMETRES[key]

    def parse(raw: object) -> float:
        if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not math.isfinite(raw):
            raise NotationError(f"{raw!r} is no number of millimetres")
        if not low <= raw <= high:
            raise NotationError(f"{raw:g} mm is outside {low:g} to {high:g} mm, where every frame lies")
        return float(raw)

    return parse


def _wheel(raw: object) -> Tyre:
    if not isinstance(raw, str):
        raise NotationError(f'{raw!r} is no tyre size; write it in quotes, like "28-622"')
    return parse_tyre(raw)


def _firmware(raw: object) -> str:
    if isinstance(raw, float):
        raise NotationError(f'{raw!r} loses its last zero as a number; write the version in quotes, like "4.10"')
    words = parse_text(LIMITS["firmware_min"], raw)
    if not any(character.isdigit() for character in words):
        raise NotationError(f'"{words}" holds no version number')
    return words


_BIKE_VALUES: dict[str, Callable[[Any], object]] = {
    "chainstay_mm": _millimetres("chainstay_mm"),
    "seat_tube_mm": _millimetres("seat_tube_mm"),
    "wheel": _wheel,
    "firmware": _firmware,
    "freehub": lambda raw: parse_text(LIMITS["freehub_fit"], raw),
    "rear_mount": lambda raw: parse_text(LIMITS["mount"], raw),
    "front_mount": lambda raw: parse_text(LIMITS["mount"], raw),
}
