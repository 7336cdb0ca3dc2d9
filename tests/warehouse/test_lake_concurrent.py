"""Many processes on one catalogue: nothing is lost, nothing half-written is seen, and a death leaves no trace."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import textwrap
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.store import Store, rows_of

pytestmark = pytest.mark.slow

_WRITER = textwrap.dedent("""
    import sys
    from datetime import datetime
    from pathlib import Path
    from cogledger.extract.records import Reading, Source, SourceKind
    from cogledger.schema.claims import Claim
    from cogledger.warehouse.lake_store import LakeStore
    from cogledger.warehouse.lake_tidy import LakeSettings
    from cogledger.warehouse.register import write_reading

    address, first, count, each = sys.argv[1], *map(int, sys.argv[2:5])
    store = LakeStore(address, upkeep=LakeSettings(every=10))
    for number in range(first, first + count):
        name = f"d{number}.pdf"
        claims = tuple(
            Claim(name, 1, None, "Brambel", f"ZQ{500 + m}", None, "rear_derailleur", "total_capacity",
                  high=30.0 + (number + m) % 3, unit="T", snippet=f"{number}", method="m", confidence=0.9)
            for m in range(each)
        )
        source = Source(Path(name), name, f"{number:064d}", 1, SourceKind.PDF)
        with store.writing() as connection:
            reading = Reading(source, 1, claims, reader="r")
            write_reading(connection, reading, ".pdf", datetime(2026, 1, 1, 0, number % 60))
        print(number, flush=True)
""")

_STATE = r"""
with mentioned as (
    select unnest(regexp_extract_all(sources::varchar || coalesce(conflicts, ''), 'd\d+\.pdf')) as document
    from kept.limits
)
select (select count(*) from documents) as documents, (select count(*) from claims) as claims,
       (select count(distinct document) from mentioned) as used
"""
"""How many documents and claims there are, and on how many documents the limits rest, agreeing or not."""

_READER = textwrap.dedent("""
    import sys, time
    from cogledger.warehouse.lake_store import LakeStore
    from cogledger.warehouse.store import rows_of

    store, each, seen = LakeStore(sys.argv[1]), int(sys.argv[2]), []
    while not seen or seen[-1] < int(sys.argv[3]):
        with store.reading() as connection:
            (row,) = rows_of(connection, sys.argv[4])
        assert row["claims"] == each * row["documents"], "half a document"
        assert row["used"] == row["documents"], "limits that do not rest on every document"
        assert not seen or row["documents"] >= seen[-1], "a document was lost"
        seen.append(row["documents"])
        time.sleep(0.05)
    print(len(set(seen)), flush=True)
""")

EACH = 4


def start(code: str, *words: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", code, *map(str, words)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def finish(process: subprocess.Popen[str]) -> list[str]:
    out, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    return out.split()


def limits_of(store: Store) -> list[dict[str, Any]]:
    with store.reading() as connection:
        rows = rows_of(connection, "select * from kept.limits order by code_key, limit_key, position")
    for row in rows:
        row["sources"] = sorted(row["sources"], key=lambda source: source["claim_id"])
    return rows


def write_alone(store: Store, numbers: range) -> None:
    """What the writers write, by one process, in the order of the documents."""
    for number in numbers:
        name = f"d{number}.pdf"
        claims = tuple(
            Claim(name, 1, None, "Brambel", f"ZQ{500 + m}", None, "rear_derailleur", "total_capacity",
                  high=30.0 + (number + m) % 3, unit="T", snippet=f"{number}", method="m", confidence=0.9)
            for m in range(EACH)
        )  # fmt: skip
        source = Source(Path(name), name, f"{number:064d}", 1, SourceKind.PDF)
        with store.writing() as connection:
            write_reading(
                connection, Reading(source, 1, claims, reader="r"), ".pdf", datetime(2026, 1, 1, 0, number % 60)
            )


def test_three_writers_and_two_readers_lose_nothing(lake: Any, tmp_path: Path) -> None:
    address, each = lake._given, 4
    readers = [start(_READER, address, EACH, 3 * each, _STATE) for _ in range(2)]
    writers = [start(_WRITER, address, first * each, each, EACH) for first in range(3)]
    told = [int(number) for writer in writers for number in finish(writer)]
    assert sorted(told) == list(range(3 * each))
    states = [int(finish(reader)[-1]) for reader in readers]
    assert max(states) > 2, "the readers never saw the writers at work"
    alone = FolderStore(tmp_path / "alone")
    write_alone(alone, range(3 * each))
    there, here = limits_of(lake), limits_of(alone)
    assert there == here
    assert len(here) == EACH


def test_a_killed_writer_leaves_the_last_complete_state_and_its_turn(lake: Any) -> None:
    chance = random.Random(11)
    total = 0
    for round_ in range(6):
        writer = start(_WRITER, lake._given, round_ * 1000, 500, EACH)
        assert writer.stdout
        told = {int(writer.stdout.readline())}
        time.sleep(chance.uniform(0, 0.8))
        writer.send_signal(signal.SIGKILL)
        told |= {int(line) for line in writer.stdout if line.strip()}
        writer.wait()
        writer.stdout.close()
        began = time.monotonic()
        with lake.writing() as connection:
            (row,) = rows_of(connection, _STATE)
        assert time.monotonic() - began < 10, "the turn of the dead was not given back"
        documents = row["documents"]
        assert len(told) <= documents - total <= len(told) + 1
        assert (row["claims"], row["used"]) == (EACH * documents, documents)
        total = documents
