"""Packs made by hand or drawn, for the tests of packs."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from cogledger.schema.claims import Box, Claim, claim_ids
from cogledger.schema.limits import LIMITS, Form, LimitKey
from cogledger.warehouse.packs import CLAIMS, DOCUMENTS, WORDS, PackAbout, write_pack
from hypothesis import strategies as st
from PIL import Image

NOW = datetime(2025, 5, 4, 12, 30, 15, 123456)
Row = dict[str, Any]


def sha_of(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


@dataclass
class Rows:
    """The rows of a pack to be."""

    documents: list[Row] = field(default_factory=list)
    claims: list[Row] = field(default_factory=list)
    words: list[Row] = field(default_factory=list)

    def add_document(self, name: str, claims: Sequence[Claim], reader: str = "3", **changes: Any) -> str:
        """A document with its claims; its hash."""
        sha256 = sha_of(name)
        self.documents.append(
            {"sha256": sha256, "name": name, "kind": "pdf", "extension": ".pdf", "size": 1234, "pages": 3,
             "reader": reader, "dated": NOW, "read_at": NOW, "origin": None} | changes
        )  # fmt: skip
        for position, (claim_id, claim) in enumerate(zip(claim_ids(sha256, list(claims)), claims, strict=True)):
            record = {name: value for name, value in vars(claim).items() if name != "document"}
            record["bbox"] = claim.bbox.as_list() if claim.bbox else None
            record["values"] = list(claim.values) if claim.values is not None else None
            record["condition"] = json.dumps(dict(sorted(claim.condition.items()))) if claim.condition else None
            self.claims.append(
                {"claim_id": claim_id, "sha256": sha256, "position": position, "reader": reader} | record
            )
        return sha256

    def add_word(self, at: int, claim: Claim, verdict: str = "confirmed", **changes: Any) -> None:
        """A word on the claim in row ``at``, which reads as ``claim``."""
        row = self.claims[at]
        self.words.append(
            {"judgement_id": hashlib.md5(f"{len(self.words)}".encode()).hexdigest(), "claim_id": row["claim_id"],
             "sha256": row["sha256"], "verdict": verdict, "snapshot": json.dumps(claim.as_json()), "correction": None,
             "judged_by": "Ida", "judged_at": NOW, "note": None, "origin": None} | changes
        )  # fmt: skip

    def tables(self) -> dict[str, pa.Table]:
        """The rows as Arrow tables."""
        return {
            table.name: pa.Table.from_pylist(getattr(self, table.name), schema=table.arrow)
            for table in (DOCUMENTS, CLAIMS, WORDS)
        }


def make_claim(code: str = "ZQ500", limit: str = "total_capacity", **fields: Any) -> Claim:
    row = LIMITS[limit]
    claim = Claim("zq.pdf", 1, Box(100, 200, 130, 212), "Brambel", code, None, str(row.kinds[0]), limit,
                  high=37.0 if limit == "total_capacity" else None, unit=str(row.unit) if row.unit else None,
                  snippet="Total capacity 37T", method="test", confidence=0.9)  # fmt: skip
    return replace(claim, **fields)


def small_rows() -> Rows:
    """Two documents, four claims, two words."""
    rows = Rows()
    cage = make_claim(variant="L", high=41.0)
    cogs = make_claim("ZQ-C11", "cogs", values=(11.0, 13.0, 15.0), part_kind="cassette", bbox=None)
    many = make_claim(limit="mount", text="hanger", condition={"ring_count": 2, "rear_speeds": 11})
    rows.add_document("a manual.pdf", [make_claim(), cage, cogs])
    rows.add_document("b.pdf", [many], origin="The other club", dated=None)
    rows.add_word(0, make_claim())
    corrected = make_claim(high=39.0).as_json()
    rows.add_word(1, cage, "corrected", correction=json.dumps(corrected), note="two columns mixed up")
    return rows


@pytest.fixture
def rows() -> Rows:
    return small_rows()


@pytest.fixture(scope="session")
def fresh_rows() -> Callable[[], Rows]:
    return Rows


@pytest.fixture(scope="session")
def claim_like() -> Callable[..., Claim]:
    return make_claim


@pytest.fixture
def about() -> PackAbout:
    return PackAbout("The bike kitchen", created=NOW)


@pytest.fixture
def pack_of(about: PackAbout, tmp_path: Path) -> Callable[..., Path]:
    def make(rows: Rows, name: str = "pack", csv: bool = False, **more: Any) -> Path:
        write_pack(tmp_path / name, rows.tables(), about, csv=csv, **more)
        return tmp_path / name

    return make


@pytest.fixture(scope="session")
def png() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), (200, 60, 30)).save(out, "PNG")
    return out.getvalue()


_SIGNS = st.characters(
    codec="utf-8", exclude_categories=("Cc", "Cs", "Cf", "Zl", "Zp", "Co", "Cn"), exclude_characters="<=@＝＠+-|!(':"
)
_WORDS = st.text(_SIGNS, min_size=1, max_size=20).filter(lambda text: bool(text.strip()))
_CODES = st.from_regex(r"[A-Z]{2}[ -]?[0-9]{2,4}[A-Z]{0,2}", fullmatch=True)


def _numbers(row: LimitKey) -> st.SearchStrategy[float]:
    low, high = row.plausible or (1, 2)
    if row.whole:
        return st.integers(int(low), int(high)).map(float)
    return st.floats(low, high, allow_nan=False).map(lambda number: round(number, 3)).filter(lambda n: low <= n <= high)


def _values(row: LimitKey) -> st.SearchStrategy[Mapping[str, Any]]:
    numbers = _numbers(row) if row.form is not Form.TEXT else st.nothing()
    if row.form is Form.HIGH:
        return numbers.map(lambda n: {"high": n})
    if row.form is Form.LOW:
        return numbers.map(lambda n: {"low": n})
    if row.form is Form.EXACT:
        return numbers.map(lambda n: {"low": n, "high": n})
    if row.form in (Form.RANGE, Form.EXACT_OR_RANGE):
        pair = st.tuples(numbers, numbers).map(sorted).map(lambda p: {"low": p[0], "high": p[1]})
        return st.one_of(pair, numbers.map(lambda n: {"high": n}), numbers.map(lambda n: {"low": n}))
    if row.form is Form.TEXT:
        return (st.sampled_from(row.choices) if row.choices else _WORDS).map(lambda text: {"text": text})
    unique = st.lists(numbers, min_size=1, max_size=row.most_values, unique=True)
    if row.form is Form.VALUES:
        return unique.map(lambda v: {"values": tuple(v)})
    return unique.map(lambda v: {"values": tuple(sorted(v, reverse=row.key == "rings"))})


@st.composite
def valid_claims(draw: st.DrawFn, codes: st.SearchStrategy[str] = _CODES) -> Claim:
    """A claim that the schema takes: any limit, in its form, with numbers that are plausible."""
    row = draw(st.sampled_from(list(LIMITS.values())))
    corner = [
        round(v, 1) for v in draw(st.tuples(st.floats(0, 500), st.floats(0, 500), st.floats(0, 9), st.floats(0, 9)))
    ]
    box = Box(corner[0], corner[1], round(corner[0] + corner[2], 1), round(corner[1] + corner[3], 1))
    conditions = st.dictionaries(st.sampled_from(["ring_count", "rear_speeds"]), st.integers(1, 12), min_size=1)
    return Claim(
        "", draw(st.integers(1, 900)), draw(st.none() | st.just(box)), draw(st.none() | _WORDS), draw(codes),
        draw(st.none() | st.sampled_from(["S", "M", "long cage"])), str(draw(st.sampled_from(row.kinds))), row.key,
        **draw(_values(row)), unit=str(row.unit) if row.unit else None, condition=draw(st.none() | conditions),
        snippet=draw(_WORDS), method="drawn", confidence=draw(st.integers(0, 100)) / 100,
    )  # fmt: skip


@pytest.fixture(scope="session")
def drawn_claims() -> st.SearchStrategy[Claim]:
    return valid_claims()


@pytest.fixture(scope="session")
def drawn_words() -> st.SearchStrategy[str]:
    return _WORDS
