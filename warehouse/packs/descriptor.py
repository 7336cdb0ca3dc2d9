"""datapackage.json → what the pack says of itself and its files, or the refusal that names what is wrong with it."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, NoReturn

from .about import DESCRIPTOR, MARK, PackAbout, Resource, picture_name, picture_path
from .fields import FORMAT, TABLES
from .names import object_to_name
from .refusing import Place, shown
from .settings import PackSettings

_HASH = re.compile(r"sha256:([0-9a-f]{64})")
_PICTURE = re.compile(r"evidence-([0-9a-f]{16})")
_TABLE_FORMATS = ("parquet", "csv")


@dataclass(frozen=True)
class Descriptor:
    """What datapackage.json says: who shares the pack, and every file by its resource's name."""

    about: PackAbout
    resources: dict[str, Resource]


def parse_descriptor(data: bytes, pack: str, settings: PackSettings) -> Descriptor:
    """Read datapackage.json.

    :raises DocumentError: it is no descriptor of a pack of ours
    """
    place = Place(pack, DESCRIPTOR)
    told = _parse_json(data, place, settings)
    mark = told.get(MARK)
    number = mark.get("format") if isinstance(mark, dict) else None
    if not isinstance(mark, dict) or isinstance(number, bool) or not isinstance(number, int):
        place.refuse(f"it is no data package of cogledger: {MARK}.format is missing")
    if number != FORMAT:
        newer = " and needs a newer cogledger" if number > FORMAT else ""
        place.refuse(f"the pack has format {number}{newer}; this cogledger reads format {FORMAT}")
    resources = _parse_resources(told.get("resources"), place, settings)
    for name in TABLES:
        if name not in resources:
            place.refuse(f"the resource {name} is missing")
    return Descriptor(_parse_about(told, mark, place), resources)


def is_ours(data: bytes) -> bool:
    """Whether a datapackage.json is of a pack of cogledger, of whatever format."""
    try:
        told = json.loads(data)
    except (ValueError, RecursionError):
        return False
    return isinstance(told, dict) and isinstance(told.get(MARK), dict) and "format" in told[MARK]


def _parse_json(data: bytes, place: Place, settings: PackSettings) -> dict[str, Any]:
    if len(data) > settings.most_descriptor_bytes:
        place.refuse(f"it is larger than {settings.most_descriptor_bytes:,} bytes")
    try:
        told = parse_strict_json(data.decode("utf-8"))
    except UnicodeDecodeError:
        place.refuse("it is not UTF-8")
    except RecursionError:
        place.refuse("it is nested too deep")
    except ValueError as error:
        place.refuse(f"it is no JSON that can be used ({error})")
    if not isinstance(told, dict):
        place.refuse("it is no JSON object")
    if _depth(told) > settings.most_descriptor_depth:
        place.refuse(f"it is nested deeper than {settings.most_descriptor_depth}")
    return told


def parse_strict_json(text: str) -> Any:
    """JSON without NaN, infinities, numbers beyond a double, or a key given twice.

    :raises ValueError: it is no such JSON
    :raises RecursionError: it is nested too deep
    """
    return json.loads(text, object_pairs_hook=_unique, parse_constant=_no_number, parse_float=_finite)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    told = dict(pairs)
    if len(told) < len(pairs):
        raise ValueError("a key is given twice")
    return told


def _no_number(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number of JSON")


def _finite(text: str) -> float:
    number = float(text)
    if abs(number) == float("inf"):
        raise ValueError("a number is too large")
    return number


def _depth(value: object) -> int:
    level, depth = [value], 0
    while level:
        depth += 1
        inner: list[object] = []
        for one in level:
            inner += one.values() if isinstance(one, dict) else one if isinstance(one, list) else []
        level = inner
    return depth


def _parse_about(told: dict[str, Any], mark: dict[str, Any], place: Place) -> PackAbout:
    contributors, licences = told.get("contributors"), told.get("licenses")
    first = contributors[0] if isinstance(contributors, list) and contributors else None
    licence = licences[0] if isinstance(licences, list) and licences else None
    if not isinstance(first, dict) or not isinstance(first.get("title"), str):
        place.refuse("contributors does not say who shares the pack")
    if not isinstance(licence, dict) or not isinstance(licence.get("name"), str):
        place.refuse("licenses does not name a licence")
    about = PackAbout(
        first["title"], licence["name"], told.get("title") or "", mark.get("store_id"), _parse_time(told, place)
    )
    if wrong := about.object_to():
        place.refuse(f"{wrong[0]} {wrong[1]}")
    return about


def _parse_time(told: dict[str, Any], place: Place) -> datetime:
    try:
        return datetime.strptime(str(told.get("created")), "%Y-%m-%dT%H:%M:%SZ")
    except ValueError:
        place.refuse("created is no time such as 2025-06-30T12:00:00Z")


def _parse_resources(told: object, place: Place, settings: PackSettings) -> dict[str, Resource]:
    if not isinstance(told, list) or not told:
        place.refuse("resources is no list")
    if len(told) > settings.most_entries:
        place.refuse(f"it names more than {settings.most_entries:,} resources")
    resources: dict[str, Resource] = {}
    for entry in told:
        resource = _parse_resource(entry, place, settings)
        if resource.name in resources:
            place.refuse(f"the resource {resource.name} is named twice")
        resources[resource.name] = resource
    if sum(r.size for r in resources.values()) > settings.most_bytes:
        place.refuse(f"its files are larger than {settings.most_bytes:,} bytes")
    if sum(name not in TABLES for name in resources) > settings.most_pictures:
        place.refuse(f"it holds more than {settings.most_pictures:,} pictures")
    return resources


def _parse_resource(told: object, place: Place, settings: PackSettings) -> Resource:
    if not isinstance(told, dict) or not isinstance(told.get("name"), str):
        place.refuse("a resource has no name")
    name, path = told["name"], told.get("path")
    if not isinstance(path, str):
        place.refuse(f"the resource {shown(name)} has no path of one file")
    if wrong := object_to_name(path):
        place.refuse(f"the path {shown(path)} {wrong}")
    picture = _PICTURE.fullmatch(name)
    if name in TABLES:
        wanted = [f"{name}.{ending}" for ending in _TABLE_FORMATS]
    elif picture and picture_name(picture[1]) == name:
        wanted = [picture_path(picture[1])]
    else:
        place.refuse(f"the resource {shown(name)} is unknown")
    if path not in wanted:
        place.refuse(f"the resource {name} has the path {shown(path)} instead of {' or '.join(wanted)}")
    size, digest = told.get("bytes"), told.get("hash")
    if isinstance(size, bool) or not isinstance(size, int) or size < 0:
        place.refuse(f"the resource {name} does not say its size in bytes")
    if picture and size > settings.most_picture_bytes:
        place.refuse(f"the picture {path} is larger than {settings.most_picture_bytes:,} bytes")
    match = _HASH.fullmatch(digest) if isinstance(digest, str) else None
    if match is None:
        place.refuse(f"the resource {name} has no hash of the form sha256:…")
    resource = Resource(name, path, size, match[1])
    _object_to_schema(resource, told, place)
    return resource


def _object_to_schema(resource: Resource, told: dict[str, Any], place: Place) -> None:
    """Refuse a resource that describes its file otherwise than a pack of this format does."""
    for key, value in resource.as_json().items():
        given = told.get(key)
        if key == "schema" and isinstance(given, dict):
            fields = given.get("fields")
            for n, field in enumerate(value["fields"]):
                if not isinstance(fields, list) or n >= len(fields) or fields[n] != field:
                    place.refuse(f"the resource {resource.name} describes the field {field['name']} otherwise")
        if key not in ("title", "description") and given != value:
            place.refuse(f"the resource {resource.name} has another {key} than a pack of format {FORMAT}")


def read_mark(path: Path) -> bool:
    """Whether ``path`` is a datapackage.json of ours."""
    try:
        return path.is_file() and path.stat().st_size < (64 << 20) and is_ours(path.read_bytes())
    except OSError:
        return False
