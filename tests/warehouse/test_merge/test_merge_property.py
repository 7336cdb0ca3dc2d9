"""Merging packs in any order and any number of times gives the same store; what was said in it never changes."""

from __future__ import annotations

import hashlib
import json
import os
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import duckdb
import pyarrow as pa
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Box, Claim, claim_ids
from cogledger.warehouse.claim_rows import insert_rows
from cogledger.warehouse.merge import merge_into
from cogledger.warehouse.migrate import bring_up_to_date
from cogledger.warehouse.packs import CLAIMS, DOCUMENTS, TABLES, WORDS, ClaimBatch, PackAbout, open_pack, write_pack
from cogledger.warehouse.packs.fields import TableFields
from cogledger.warehouse.register import AFTER_ALL, restore_judged, write_reading
from cogledger.warehouse.settled import settle
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

EXAMPLES = int(os.environ.get("COGLEDGER_MERGE_EXAMPLES", "50"))
"""How many sets of packs are drawn, each of 2 to 4 packs; so many more are written to files and read."""
FILE_EXAMPLES = 6

_IDLE: list[duckdb.DuckDBPyConnection] = []
"""Stores in memory that hold nothing now; making one takes longer than emptying it."""
_FILLED = (
    "documents",
    "document_paths",
    "part_photos",
    "failed_pages",
    "claims",
    "judgements",
    "limits",
    "parts",
    "pictures",
)

PEOPLE = ("Ada", "Ben", "Cleo", "Dora")
TIMES = [datetime(2024, 5, day) for day in (1, 2, 3)]


@dataclass
class Drawn:
    """What one person shares, or what a store holds of its own."""

    documents: list[dict[str, Any]] = field(default_factory=list)
    claims: list[dict[str, Any]] = field(default_factory=list)
    words: list[dict[str, Any]] = field(default_factory=list)
    readings: list[tuple[str, str, list[Claim]]] = field(default_factory=list)


def claim_strategy() -> st.SearchStrategy[Claim]:
    """Few codes and few limits, so that documents and people meet."""
    return st.builds(
        lambda code, variant, high, page, condition, confidence: Claim(
            "", page, Box(1, 2, 3, 4), "Brambel", code, variant, "rear_derailleur", "total_capacity", high=high,
            unit="T", condition=condition, snippet=f"{high} T", method="drawn", confidence=confidence,
        ),
        st.sampled_from(["ZQ500", "ZQ-500", "ZQ500X", "QK7"]), st.sampled_from([None, "L"]),
        st.sampled_from([33.0, 37.0]), st.sampled_from([1, 2]), st.sampled_from([None, {"ring_count": 2}]),
        st.sampled_from([0.5, 0.9]),
    )  # fmt: skip


CLAIM_LISTS = st.lists(claim_strategy(), min_size=1, max_size=3)


@st.composite
def drawn_share(draw: st.DrawFn) -> Drawn:
    drawn = Drawn()
    for name in draw(st.lists(st.sampled_from(["a.pdf", "b.pdf", "c.pdf"]), min_size=1, max_size=2, unique=True)):
        add_document(drawn, name, draw(st.sampled_from(["9", "10", "10.1"])), draw(CLAIM_LISTS),
                     draw(st.sampled_from(TIMES)), draw(st.sampled_from([None, None, "Eve"])))  # fmt: skip
    for at in draw(st.lists(st.integers(0, len(drawn.claims) - 1), max_size=3)):
        verdict = draw(st.sampled_from(["confirmed", "rejected", "corrected"]))
        correction = draw(claim_strategy()) if verdict == "corrected" else None
        add_word(drawn, at, verdict, correction, draw(st.sampled_from(TIMES)), draw(st.sampled_from([None, "Eve"])))
    return drawn


def add_document(drawn: Drawn, name: str, reader: str, claims: list[Claim], when: datetime, origin: str | None) -> None:
    sha256 = hashlib.sha256(name.encode()).hexdigest()
    drawn.readings.append((name, reader, claims))
    drawn.documents.append(
        {"sha256": sha256, "name": name, "kind": "pdf", "extension": ".pdf", "size": 10, "pages": 2, "reader": reader,
         "dated": when, "read_at": when, "origin": origin}
    )  # fmt: skip
    for position, (claim_id, claim) in enumerate(zip(claim_ids(sha256, claims), claims, strict=True)):
        record = {key: value for key, value in vars(claim).items() if key not in ("document", "bbox", "condition")}
        record["condition"] = json.dumps(claim.condition) if claim.condition else None
        drawn.claims.append(
            {"claim_id": claim_id, "sha256": sha256, "position": position, "reader": reader, "claim": claim,
             "bbox": [1.0, 2.0, 3.0, 4.0]} | record
        )  # fmt: skip


def add_word(drawn: Drawn, at: int, verdict: str, correction: Claim | None, when: datetime, origin: str | None) -> None:
    row = drawn.claims[at]
    word = {
        "claim_id": row["claim_id"], "sha256": row["sha256"], "verdict": verdict,
        "snapshot": json.dumps(row["claim"].as_json()),
        "correction": json.dumps(correction.as_json()) if correction else None, "judged_by": "Ida", "judged_at": when,
        "note": None,
    }  # fmt: skip
    number = hashlib.md5(repr(sorted(word.items(), key=str)).encode()).hexdigest()
    if number not in [known["judgement_id"] for known in drawn.words]:
        drawn.words.append(word | {"judgement_id": number, "origin": origin})


class CheckedPack:
    """A pack whose rows were found sound: what merging sees of an open pack."""

    def __init__(self, drawn: Drawn, shared_by: str) -> None:
        self.name, self.about = shared_by, PackAbout(shared_by)
        self._tables = tables_of(drawn)

    def _batches(self, table: TableFields) -> list[pa.RecordBatch]:
        ordered = self._tables[table.name].sort_by([(key, "ascending") for key in table.key])
        return ordered.combine_chunks().to_batches()

    def documents(self) -> list[pa.RecordBatch]:
        return self._batches(DOCUMENTS)

    def claims(self) -> list[ClaimBatch]:
        return [ClaimBatch(batch, {}) for batch in self._batches(CLAIMS)]

    def words(self) -> list[pa.RecordBatch]:
        return self._batches(WORDS)

    def pictures(self) -> list[tuple[str, bytes]]:
        return []


def tables_of(drawn: Drawn) -> dict[str, pa.Table]:
    return {name: pa.Table.from_pylist(getattr(drawn, name), schema=table.arrow) for name, table in TABLES.items()}


@contextmanager
def local_store(own: Drawn) -> Iterator[duckdb.DuckDBPyConnection]:
    """A store in memory, in which these documents were read and these words said."""
    connection = _IDLE.pop() if _IDLE else duckdb.connect(":memory:", config={"threads": 1})
    try:
        if connection.execute("select 1 from duckdb_tables() where table_name = 'claims'").fetchone() is None:
            bring_up_to_date(connection, 0)
        for name, reader, claims in own.readings:
            source = Source(Path(name), name, hashlib.sha256(name.encode()).hexdigest(), 10, SourceKind.PDF)
            named = tuple(replace(claim, document=name) for claim in claims)
            write_reading(connection, Reading(source, 2, named, (), (), 0.1, reader), ".pdf", TIMES[0])
        words = [word | {"origin": None, "judgement_id": f"{number:032x}"} for number, word in enumerate(own.words)]
        insert_rows(connection, "kept.judgements", {f.name: f.arrow for f in WORDS.fields}, words)
        settle(connection, restore_judged(connection, sorted({word["sha256"] for word in words})))
        yield connection
    except BaseException:
        connection.close()
        raise
    for table in _FILLED:
        connection.execute(f"delete from kept.{table}")
    _IDLE.append(connection)


def held_by(connection: duckdb.DuckDBPyConnection) -> dict[str, list[str]]:
    """Everything that a store holds, in an order of its own."""
    tables = ("limits", "parts", "claims", "judgements", "documents")
    return {table: sorted(map(repr, connection.execute(f"from kept.{table}").fetchall())) for table in tables}


def own_words(connection: duckdb.DuckDBPyConnection) -> list[Any]:
    return connection.execute("from kept.judgements where origin is null order by all").fetchall()


def states_of_own_words(connection: duckdb.DuckDBPyConnection) -> list[Any]:
    spoken = "claim_id in (select claim_id from kept.judgements where origin is null)"
    sql = f"select claim_id, verdict, correction from kept.last_judgements where {spoken} order by all"
    return connection.execute(sql).fetchall()


def own_readings(connection: duckdb.DuckDBPyConnection) -> list[Any]:
    sql = "select c.* from kept.claims c join kept.documents d using (sha256) where d.origin is null and position < ?"
    return connection.execute(f"{sql} order by all", [AFTER_ALL]).fetchall()


def merge_all(connection: duckdb.DuckDBPyConnection, packs: Sequence[Any]) -> None:
    for pack in packs:
        merge_into(connection, pack)


def check_orders(own: Drawn, packs: Sequence[Any], chance: random.Random) -> None:
    """Merge packs as they come, and in another order with one of them twice."""
    shuffled = [*packs, chance.choice(packs)]
    chance.shuffle(shuffled)
    with local_store(own) as one, local_store(own) as other:
        before = own_words(one), states_of_own_words(one), own_readings(one)
        merge_all(one, packs)
        merge_all(other, shuffled)
        assert held_by(one) == held_by(other)
        assert (own_words(one), states_of_own_words(one), own_readings(one)) == before


OWN = drawn_share() | st.just(Drawn())
SHARES = st.lists(drawn_share(), min_size=2, max_size=4)
FREE = settings(deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), database=None)


@settings(FREE, max_examples=EXAMPLES)
@given(own=OWN, shares=SHARES, chance=st.randoms())
def test_any_order_and_any_number_of_merges_give_the_same(
    own: Drawn, shares: list[Drawn], chance: random.Random
) -> None:
    packs = [CheckedPack(share, person) for share, person in zip(shares, PEOPLE, strict=False)]
    check_orders(own, packs, chance)


@settings(FREE, max_examples=FILE_EXAMPLES)
@given(own=OWN, shares=SHARES, chance=st.randoms())
def test_so_it_is_with_packs_as_files(own: Drawn, shares: list[Drawn], chance: random.Random) -> None:
    with TemporaryDirectory() as folder, ExitStack() as opened:
        packs = []
        for share, person in zip(shares, PEOPLE, strict=False):
            path = Path(folder, f"{person}.zip")
            write_pack(path, tables_of(share), PackAbout(person), csv=chance.random() < 0.5)
            packs.append(opened.enter_context(open_pack(path)))
        check_orders(own, packs, chance)


def test_drawn_packs_meet() -> None:
    """The draws hold what the rule is about: two readings of a document, two words on a claim, words of one id."""
    met: Counter[str] = Counter()

    @settings(FREE, max_examples=60)
    @given(own=OWN, shares=SHARES)
    def count(own: Drawn, shares: list[Drawn]) -> None:
        readings = {(d["sha256"], d["reader"]) for share in shares for d in share.documents}
        met["readings"] += len(readings) > len({sha256 for sha256, _ in readings})
        words = [word for share in shares for word in share.words]
        met["conflicts"] += len({(w["claim_id"], w["verdict"]) for w in words}) > len({w["claim_id"] for w in words})
        met["same"] += len({word["judgement_id"] for word in words}) < len(words)
        own_documents = {d["sha256"] for d in own.documents}
        met["own"] += any(d["sha256"] in own_documents for share in shares for d in share.documents)
        met["own words"] += bool(own.words)

    count()
    assert all(met[kind] >= 3 for kind in ("readings", "conflicts", "same", "own", "own words")), met
