"""The tables of a pack: their fields, as Arrow columns and as Table Schema (Data Package standard 2.0)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pyarrow as pa

FORMAT = 1
"""The number of this layout of tables; a pack of a higher one asks for a newer cogledger."""

SHA256 = "^[0-9a-f]{64}$"
CLAIM_ID = "^[0-9a-f]{16}$"
TIME_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"
_TIME = pa.timestamp("us")
_NUMBERS = pa.list_(pa.float64())
_FARTHEST = 1e9


@dataclass(frozen=True)
class Field:
    """One column.

    ``nullable``: may be missing; a text is then never empty. ``blank``: a text that may be empty and is never missing.
    ``longest`` bounds texts in signs and lists in elements.
    """

    name: str
    kind: str
    arrow: pa.DataType
    description: str
    nullable: bool = False
    blank: bool = False
    pattern: str | None = None
    choices: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    longest: int | None = None

    def as_json(self) -> dict[str, Any]:
        """The field descriptor of Table Schema."""
        told: dict[str, Any] = {"name": self.name, "type": self.kind, "description": self.description}
        if self.kind == "datetime":
            told["format"] = TIME_FORMAT
        rules: dict[str, Any] = {}
        if not self.nullable and not self.blank:
            rules["required"] = True
        if self.pattern:
            rules["pattern"] = self.pattern
        if self.choices:
            rules["enum"] = list(self.choices)
        if self.minimum is not None:
            rules["minimum"] = self.minimum
        if self.maximum is not None:
            rules["maximum"] = self.maximum
        if self.longest is not None and self.kind in ("string", "array"):
            rules["maxLength"] = self.longest
        return told | ({"constraints": rules} if rules else {})


@dataclass(frozen=True)
class TableFields:
    """One table: its name, its fields, and the fields that its rows are ordered by and told apart by."""

    name: str
    title: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]
    within: str | None = None
    """The table that ``sha256`` refers to."""

    @property
    def arrow(self) -> pa.Schema:
        """The Arrow schema."""
        return pa.schema([pa.field(field.name, field.arrow) for field in self.fields])

    @property
    def names(self) -> list[str]:
        """The names of the columns, in order."""
        return [field.name for field in self.fields]

    def as_json(self) -> dict[str, Any]:
        """The Table Schema."""
        told: dict[str, Any] = {
            "fields": [field.as_json() for field in self.fields],
            "missingValues": [""],
            "primaryKey": list(self.key),
        }
        if self.within:
            told["foreignKeys"] = [{"fields": ["sha256"], "reference": {"resource": self.within, "fields": ["sha256"]}}]
        return told


def _text(name: str, description: str, longest: int, **rules: Any) -> Field:
    return Field(name, "string", pa.string(), description, longest=longest, **rules)


def _number(name: str, description: str, **rules: Any) -> Field:
    return Field(name, "number", pa.float64(), description, minimum=-_FARTHEST, maximum=_FARTHEST, **rules)


def _whole(name: str, kind: pa.DataType, description: str, most: int) -> Field:
    return Field(name, "integer", kind, description, minimum=0, maximum=most)


def _list(name: str, description: str) -> Field:
    return Field(name, "array", _NUMBERS, description, nullable=True, longest=64)


def _object(name: str, description: str, longest: int, nullable: bool = True) -> Field:
    return Field(name, "object", pa.string(), description, nullable=nullable, longest=longest)


def _time(name: str, description: str, nullable: bool = False) -> Field:
    return Field(name, "datetime", _TIME, description, nullable=nullable)


_SHA = _text("sha256", "SHA-256 of the document's file: its identity", 64, pattern=SHA256)
_ID = _text("claim_id", "the claim's id: from document, page, part, limit, value and condition", 16, pattern=CLAIM_ID)
_ORIGIN = _text("origin", "who shared it first; missing where the one who shares this pack did", 200, nullable=True)

DOCUMENTS = TableFields(
    "documents",
    "The documents that were read",
    (
        _SHA,
        _text("name", "file name of the document, without its folders", 255, pattern=r"^[^/\\]+$"),
        _text("kind", "what the file is", 10, choices=("pdf", "image")),
        _text("extension", "ending of the file's name", 11, blank=True, pattern=r"^(\.[a-z0-9]{1,10})?$"),
        _whole("size", pa.int64(), "size of the file in bytes", 1 << 40),
        _whole("pages", pa.int32(), "number of pages", 1_000_000),
        _text("reader", "version of the reader that read it", 60),
        _time("dated", "when the document was made, as it says itself (UTC)", nullable=True),
        _time("read_at", "when it was read (UTC)"),
        _ORIGIN,
    ),
    ("sha256",),
)
CLAIMS = TableFields(
    "claims",
    "What the documents state about limits of parts",
    (
        _ID,
        _SHA,
        _whole("position", pa.int32(), "place of the claim among those of its document, from 0", 999_999_999),
        _whole("page", pa.int32(), "page from 1; 1 for an image", (1 << 31) - 1),
        _list("bbox", "x0, top, x1, bottom of the value on the page: points, or pixels of an image"),
        _text("maker", "who makes the part, as printed", 200, nullable=True),
        _text("part_code", "model code, as printed", 200, blank=True),
        _text("variant", "cage length or version, as printed", 200, nullable=True),
        _text("part_kind", "kind of part", 60),
        _text("limit", "key of the limit", 60),
        _number("low", "lower bound, inclusive", nullable=True),
        _number("high", "upper bound, inclusive", nullable=True),
        _list("values", "an ordered list, or a set of alternatives"),
        _text("text", "limits that are words", 2000, nullable=True),
        _text("unit", "T (teeth), mm, deg, g, links or count", 20, nullable=True),
        _object("condition", "what the document restricts the value to: limit keys with numbers or words", 2000),
        _text("snippet", "the words it was read from", 2000, blank=True),
        _text("method", "how it was read", 200, blank=True),
        _number("confidence", "how sure the reading is, 0 to 1"),
        _text("reader", "version of the reader that read it", 60),
    ),
    ("sha256", "position"),
    "documents",
)
WORDS = TableFields(
    "words",
    "What people said about claims after looking at the page",
    (
        _text("judgement_id", "the judgement's id", 64, pattern="^[0-9a-f]{16,64}$"),
        _ID,
        _SHA,
        _text("verdict", "what was said", 10, choices=("confirmed", "corrected", "rejected")),
        _object("snapshot", "the claim record as it read then", 20_000, nullable=False),
        _object("correction", "the claim record as it should read", 20_000),
        _text("judged_by", "who said it", 200),
        _time("judged_at", "when it was said (UTC)"),
        _text("note", "why", 2000, nullable=True),
        _ORIGIN,
    ),
    ("judgement_id",),
    "documents",
)
TABLES: dict[str, TableFields] = {table.name: table for table in (DOCUMENTS, CLAIMS, WORDS)}
"""The tables of a pack, in the order in which they are read."""
