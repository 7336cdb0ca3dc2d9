"""Reading a folder again: what is unchanged, moved, deleted, back, changed, or read anew by a later reader."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, Source
from cogledger.schema.claims import claim_from_json
from cogledger.schema.errors import Fault
from cogledger.schema.reasons import Reason
from cogledger.warehouse import Correction, Ledger
from cogledger.warehouse import register as register_module
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.ingest import IngestReport, IngestSettings, Progress, ingest
from cogledger.warehouse.register import ToldClaim
from cogledger.warehouse.store import Connection, rows_of

CALLS: list[str] = []
SAYS: dict[str, list[dict[str, Any]]] = {}
"""What the reader finds in a document in the place of what stands in it, by the document's name."""

Read = Callable[..., IngestReport]


def pretended(source: Source, on_page: Any = None) -> Reading:
    CALLS.append(source.name)
    told = SAYS.get(source.name) or json.loads(source.path.read_text(encoding="utf-8").partition("\n")[2])
    base = {"document": source.name, "page": 1, "bbox": [100, 200, 130, 212], "maker": "Brambel", "variant": None,
            "part_kind": "rear_derailleur", "limit": "total_capacity", "unit": "T", "snippet": "as printed",
            "method": "pretended", "confidence": 0.9}  # fmt: skip
    return Reading(source, 1, tuple(claim_from_json(base | record) for record in told))


@pytest.fixture
def manuals(tmp_path: Path) -> Iterator[Path]:
    CALLS.clear()
    SAYS.clear()
    folder = tmp_path / "manuals"
    for number in range(4):
        put(folder / "a" / f"{number}.pdf", capacity(33 + number, code=f"ZQ{number}00"))
    CALLS.clear()
    yield folder
    SAYS.clear()


@pytest.fixture
def read(store: FolderStore, manuals: Path) -> Read:
    def call(version: str = "1", **more: Any) -> IngestReport:
        CALLS.clear()
        settings = IngestSettings(reader=f"{__name__}:pretended", reader_version=version)
        return ingest(store, [manuals], workers=1, settings=settings, **more)

    return call


def put(path: Path, *claims: dict[str, Any]) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"%PDF-1.7\n{json.dumps(claims)}", encoding="utf-8")
    return path


def capacity(high: float, code: str = "ZQ500", **more: Any) -> dict[str, Any]:
    return {"part_code": code, "high": float(high)} | more


def document(store: FolderStore, claim: ToldClaim) -> dict[str, Any]:
    with store.reading() as connection:
        (row,) = rows_of(connection, "select * from documents where sha256 = ?", [claim.document_sha256])
    return row


def told(store: FolderStore) -> list[dict[str, Any]]:
    return [claim.as_json() for claim in Ledger(store.folder).claims()]


def only(store: FolderStore, code: str) -> ToldClaim:
    (claim,) = [c for c in Ledger(store.folder).claims() if c.record["part_code"] == code]
    return claim


def test_what_is_unchanged_costs_neither_reader_nor_writer(
    store: FolderStore, read: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert read().complete and len(CALLS) == 4
    before = told(store)

    @contextmanager
    def refuse(_: FolderStore) -> Iterator[Connection]:
        raise AssertionError("nothing changed, so nothing is to be written")
        yield

    with monkeypatch.context() as patch:
        patch.setattr(FolderStore, "writing", refuse)
        patch.setattr(FolderStore, "find_source", lambda *_: pytest.fail("looked for the copy of each file"))
        report = read()
    assert (report.unchanged, report.documents, CALLS) == (4, [], [])
    assert told(store) == before


def test_of_many_files_only_the_changed_ones_are_read(store: FolderStore, read: Read, manuals: Path) -> None:
    read()
    put(manuals / "a" / "1.pdf", capacity(39, code="ZQ100"))
    report = read()
    assert CALLS == ["1.pdf"] and report.unchanged == 3
    now = {c.record["high"]: document(store, c) for c in Ledger(store.folder).claims()}
    assert now[34]["gone"] and not now[39]["gone"], "what stood there before is no longer there, and is kept"


def test_a_moved_file_keeps_its_claims_and_is_told_where_it_is(store: FolderStore, read: Read, manuals: Path) -> None:
    read()
    Ledger(store.folder).confirm(only(store, "ZQ100").claim_id, by="Ilka")
    before = told(store)
    (manuals / "b").mkdir()
    (manuals / "a" / "1.pdf").rename(manuals / "b" / "moved.pdf")
    report = read()
    assert (report.unchanged, CALLS) == (4, [])
    assert told(store) == before
    row = document(store, only(store, "ZQ100"))
    assert str(manuals / "b" / "moved.pdf") in row["paths"] and not row["gone"]


def test_a_deleted_file_stays_and_is_marked_as_gone_until_it_returns(
    store: FolderStore, read: Read, manuals: Path
) -> None:
    read()
    before = told(store)
    content = (manuals / "a" / "2.pdf").read_bytes()
    (manuals / "a" / "2.pdf").unlink()
    report = read()
    assert (report.unchanged, report.gone) == (3, 1)
    assert document(store, only(store, "ZQ200"))["gone"] and told(store) == before
    assert [p.code for p in Ledger(store.folder).limits(["ZQ200"])] == ["ZQ200"], "what it said is still known"
    assert read().gone == 0, "told once"
    (manuals / "back.pdf").write_bytes(content)
    assert read().unchanged == 4
    assert not document(store, only(store, "ZQ200"))["gone"]
    (manuals / "back.pdf").rename(manuals / "a" / "2.pdf")
    assert read().unchanged == 4
    assert not document(store, only(store, "ZQ200"))["gone"] and CALLS == []


def test_files_elsewhere_are_not_gone(store: FolderStore, read: Read, manuals: Path, tmp_path: Path) -> None:
    """A call speaks only of the folders that it names."""
    read()
    elsewhere = put(tmp_path / "elsewhere" / "x.pdf", capacity(30, code="ZQ900"))
    settings = IngestSettings(reader=f"{__name__}:pretended", reader_version="1")
    ingest(store, [elsewhere.parent], workers=1, settings=settings)
    elsewhere.unlink()
    assert read().gone == 0
    assert not document(store, only(store, "ZQ900"))["gone"]


def test_of_two_files_with_the_same_contents_one_may_go(store: FolderStore, read: Read, manuals: Path) -> None:
    (manuals / "z.pdf").write_bytes((manuals / "a" / "1.pdf").read_bytes())
    read()
    assert len(CALLS) == 4
    (manuals / "a" / "1.pdf").unlink()
    read()
    row = document(store, only(store, "ZQ100"))
    assert not row["gone"] and str(manuals / "z.pdf") in row["paths"] and CALLS == []


def test_a_later_reader_replaces_what_nobody_judged(store: FolderStore, read: Read, manuals: Path) -> None:
    read()
    assert read().documents == []
    SAYS["3.pdf"] = [capacity(41, code="ZQ300"), capacity(16, code="ZQ300", limit="front_difference")]
    assert len(read("2").documents) == 4
    assert sorted((c["limit"], c["high"]) for c in told(store) if c["part_code"] == "ZQ300") == [
        ("front_difference", 16), ("total_capacity", 41),
    ]  # fmt: skip
    (part,) = Ledger(store.folder).limits(["ZQ300"])
    assert [limit.value.high for limit in part.limits["total_capacity"]] == [41]


def test_a_replacement_that_fails_leaves_the_former_reading(
    store: FolderStore, read: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Broken off when all rows are written but the limits are not yet made."""
    read()
    before = told(store)
    SAYS["0.pdf"] = [capacity(49, code="ZQ000")]
    with monkeypatch.context() as patch:
        patch.setattr(register_module, "settle", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            read("2")
    assert told(store) == before
    assert len(read("2").documents) == 4
    assert only(store, "ZQ000").record["high"] == 49


def test_an_interrupted_reading_goes_on_where_it_was(store: FolderStore, read: Read) -> None:
    def stop(step: Progress) -> None:
        if step.done == 2:
            raise KeyboardInterrupt

    report = read(on_progress=stop)
    assert report.interrupted and len(told(store)) == 2
    report = read()
    assert (report.unchanged, len(report.documents)) == (2, 2) and len(CALLS) == 2
    assert len(told(store)) == 4


def test_a_file_that_fails_by_a_later_reader_keeps_its_former_reading(
    store: FolderStore, read: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    read()
    before = told(store)
    fault = Fault(Reason.BROKEN_PDF, "the PDF is broken", file="0.pdf")
    with monkeypatch.context() as patch:
        patch.setattr("cogledger.warehouse.ingest.read_one", lambda *_: fault)
        assert len(read("2").failures) == 4
    assert told(store) == before


# What a person said, when the document is read anew.

PLACE = [100, 200, 130, 212]
OTHER = [300, 500, 330, 512]


@pytest.fixture
def again(store: FolderStore, read: Read, manuals: Path) -> Callable[..., list[ToldClaim]]:
    """Read one more document, then read it anew as something else; the claims on its part."""
    put(manuals / "judged.pdf", capacity(37, bbox=PLACE))

    def call(version: str, *claims: dict[str, Any]) -> list[ToldClaim]:
        SAYS["judged.pdf"] = list(claims)
        read(version)
        return [c for c in Ledger(store.folder).claims() if c.record["document"] == "judged.pdf"]

    return call


def states(claims: list[ToldClaim]) -> list[tuple[float, str]]:
    return sorted((claim.record["high"], str(claim.state)) for claim in claims)


def limit_of(store: FolderStore) -> list[float | None]:
    parts = [part for part in Ledger(store.folder).limits() if part.code == "ZQ500"]
    return [limit.value.high for part in parts for limit in part.limits.get("total_capacity", ())]


@pytest.mark.parametrize("shift", [0, 0.4, 3, 25])
@pytest.mark.parametrize("word", ["confirm", "correct", "reject"])
def test_a_word_outlives_a_box_that_shifts(
    store: FolderStore, again: Callable[..., list[ToldClaim]], word: str, shift: float
) -> None:
    (claim,) = again("1", capacity(37, bbox=PLACE))
    ledger = Ledger(store.folder)
    given = (Correction(high=39),) if word == "correct" else ()
    said = getattr(ledger, word)(claim.claim_id, *given, by="Ilka", note="seen")
    (now,) = again("2", capacity(37, bbox=[v + shift for v in PLACE], snippet="otherwise", method="better"))
    assert (now.claim_id, now.state, now.judged_by, now.note) == (claim.claim_id, said.state, "Ilka", "seen")
    assert now.record["high"] == said.record["high"]
    assert limit_of(store) == {"confirm": [37], "correct": [39], "reject": []}[word]


def test_a_word_outlives_a_reading_that_says_otherwise(
    store: FolderStore, again: Callable[..., list[ToldClaim]]
) -> None:
    (claim,) = again("1", capacity(37))
    Ledger(store.folder).confirm(claim.claim_id, by="Ilka")
    assert states(again("2", capacity(31))) == [(31, "read"), (37, "confirmed")]
    assert limit_of(store) == [37], "a person's word goes before the reading"
    assert states(again("3", capacity(37))) == [(37, "confirmed")]
    assert states(again("4", capacity(16, limit="front_difference"))) == [(16, "read"), (37, "confirmed")]


def test_a_correction_outlives_a_reading_that_comes_to_say_the_same(
    store: FolderStore, again: Callable[..., list[ToldClaim]]
) -> None:
    (claim,) = again("1", capacity(31))
    Ledger(store.folder).correct(claim.claim_id, Correction(high=37), by="Ilka")
    assert states(again("2", capacity(37))) == [(37, "corrected"), (37, "read")]
    assert limit_of(store) == [37]


def test_a_correction_of_the_code_outlives_a_later_reader(
    store: FolderStore, again: Callable[..., list[ToldClaim]]
) -> None:
    (claim,) = again("1", capacity(37))
    Ledger(store.folder).correct(claim.claim_id, Correction(code="ZQ777", variant="M"), by="Ilka")
    for version, shown in (("2", capacity(37, bbox=[v + 1 for v in PLACE])), ("3", capacity(12, limit="smallest_cog"))):
        again(version, shown)
        (part,) = Ledger(store.folder).limits(["ZQ777"])
        assert (part.variant, part.limits["total_capacity"][0].value.high) == ("M", 37)


def test_a_judged_statement_is_known_by_its_place_among_its_duplicates(
    store: FolderStore, again: Callable[..., list[ToldClaim]]
) -> None:
    """A page says the same twice, a person rejects one; a later reader finds them in the other order, a little off."""
    first, second = again("1", capacity(37, bbox=PLACE), capacity(37, bbox=OTHER))
    assert first.record["bbox"] == PLACE
    Ledger(store.folder).reject(second.claim_id, by="Ilka")
    swapped = again("2", capacity(37, bbox=[v + 2 for v in OTHER]), capacity(37, bbox=[v - 2 for v in PLACE]))
    now = {claim.record["bbox"][0]: (claim.claim_id, str(claim.state)) for claim in swapped}
    assert now == {302: (second.claim_id, "rejected"), 98: (first.claim_id, "read")}
    more = again("3", capacity(37, bbox=[500, 20, 530, 32]), capacity(37, bbox=OTHER), capacity(37, bbox=PLACE))
    assert [str(c.state) for c in more if c.record["bbox"] == OTHER] == ["rejected"]
    assert states(more) == [(37, "read"), (37, "read"), (37, "rejected")]


@pytest.mark.parametrize("judged", [0, 1])
@pytest.mark.parametrize("found", [0, 1])
def test_of_duplicates_only_one_is_found_again(
    store: FolderStore, again: Callable[..., list[ToldClaim]], judged: int, found: int
) -> None:
    """The one that a person rejected stays rejected, the other unjudged, whichever a later reader still finds."""
    places = [PLACE, OTHER]
    both = again("1", *(capacity(37, bbox=place) for place in places))
    Ledger(store.folder).reject(both[judged].claim_id, by="Ilka")
    now = again("2", capacity(37, bbox=[v + 2 for v in places[found]]))
    there = [str(c.state) for c in now if abs(c.record["bbox"][0] - places[found][0]) < 5]
    assert there == (["rejected"] if found == judged else ["read"])
    assert [str(c.state) for c in now].count("rejected") == 1
