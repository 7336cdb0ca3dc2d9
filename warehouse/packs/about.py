"""Who shares a pack, when, and under which licence; and the descriptor, datapackage.json, that says so."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from ...schema.errors import CallError
from ...schema.reasons import Reason
from .fields import FORMAT, TABLES
from .texts import object_to_text

DESCRIPTOR = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
MARK = "cogledger"
"""The property of the descriptor that tells our packs from other data packages."""

LICENCES: dict[str, tuple[str, str]] = {
    "CC0-1.0": ("CC0 1.0 Universal", "https://creativecommons.org/publicdomain/zero/1.0/"),
    "PDDL-1.0": ("Open Data Commons Public Domain Dedication and License", "https://opendatacommons.org/licenses/pddl/1-0/"),
    "ODC-BY-1.0": ("Open Data Commons Attribution License", "https://opendatacommons.org/licenses/by/1-0/"),
    "ODbL-1.0": ("Open Data Commons Open Database License", "https://opendatacommons.org/licenses/odbl/1-0/"),
    "CC-BY-4.0": ("Creative Commons Attribution 4.0", "https://creativecommons.org/licenses/by/4.0/"),
    "CC-BY-SA-4.0": ("Creative Commons Attribution Share-Alike 4.0", "https://creativecommons.org/licenses/by-sa/4.0/"),
}  # fmt: skip
"""Licences for data that can be named by their identifier alone (opendefinition.org and SPDX write them so)."""
_LICENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+_-]{0,59}")
MEDIA = {"parquet": "application/vnd.apache.parquet", "csv": "text/csv", "png": "image/png"}


@dataclass(frozen=True)
class PackAbout:
    """What a pack says of itself. ``created`` is in UTC, now where it is missing."""

    shared_by: str
    licence: str = "CC0-1.0"
    title: str = "Limits of drivetrain parts"
    store_id: str | None = None
    created: datetime | None = None

    def object_to(self) -> tuple[str, str] | None:
        """The first of its fields that cannot stand, and why."""
        for name, longest in (("shared_by", 200), ("title", 200), ("licence", 60), ("store_id", 200)):
            value = getattr(self, name)
            if value is None and name == "store_id":
                continue
            if not isinstance(value, str) or not value.strip():
                return name, "is empty"
            if len(value) > longest:
                return name, f"is longer than {longest} signs"
            if wrong := object_to_text(value):
                return name, wrong
        if not _LICENCE.fullmatch(self.licence):
            return "licence", "is no identifier of a licence such as CC0-1.0 or CC-BY-4.0"
        return None

    def demand_sound(self) -> None:
        """Check what a caller gave.

        :raises CallError: one of the fields cannot stand in a pack
        """
        if wrong := self.object_to():
            raise CallError(Reason.BAD_CALL, f"{wrong[0]} {wrong[1]}", advice="give another text")


@dataclass(frozen=True)
class Resource:
    """One file of a pack: its name and path in the pack, its size in bytes and the SHA-256 of its contents."""

    name: str
    path: str
    size: int
    sha256: str

    @property
    def format(self) -> str:
        """``parquet``, ``csv`` or ``png``."""
        return self.path.rpartition(".")[2]

    def as_json(self) -> dict[str, Any]:
        """The resource descriptor of the Data Package standard."""
        told: dict[str, Any] = {
            "name": self.name, "path": self.path, "format": self.format, "mediatype": MEDIA[self.format],
            "bytes": self.size, "hash": f"sha256:{self.sha256}",
        }  # fmt: skip
        table = TABLES.get(self.name)
        if table is None:
            return told
        told |= {"title": table.title, "schema": table.as_json()}
        if self.format == "csv":
            told |= {"type": "table", "encoding": "utf-8"}
        return told


def picture_name(claim_id: str) -> str:
    """The name of the resource that holds the picture of a claim."""
    return f"evidence-{claim_id}"


def picture_path(claim_id: str) -> str:
    """Where in a pack the picture of a claim is."""
    return f"evidence/{claim_id}.png"


def make_descriptor(about: PackAbout, resources: list[Resource]) -> dict[str, Any]:
    """The contents of datapackage.json; equal for equal contents but for ``created``."""
    created = about.created or datetime.now(UTC)
    title, path = LICENCES.get(about.licence, (about.licence, None))
    licence = {"name": about.licence, "title": title} | ({"path": path} if path else {})
    slug = re.sub(r"[^a-z0-9]+", "-", about.title.lower()).strip("-")
    return {
        "$schema": PROFILE,
        "name": slug or "limits",
        "title": about.title,
        "created": f"{created:%Y-%m-%dT%H:%M:%SZ}",
        "licenses": [licence],
        "contributors": [{"title": about.shared_by, "roles": ["publisher"]}],
        MARK: {"format": FORMAT, "store_id": about.store_id},
        "resources": [resource.as_json() for resource in resources],
    }
