"""Files → store, with readers that do what real documents make readers do: answer, fail, hang and die."""

from __future__ import annotations

import hashlib
import textwrap
from pathlib import Path

import pytest
from cogledger.schema.errors import StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.ingest import IngestReport, IngestSettings, Progress, ingest
from cogledger.warehouse.search import list_limits
from cogledger.warehouse.store import rows_of

_READER = textwrap.dedent('''
    import os, sys, time
    from cogledger.extract.records import Reading
    from cogledger.schema.claims import Claim
    from cogledger.schema.errors import DocumentError, Fault
    from cogledger.schema.reasons import Reason

    def read(source, on_page=None):
        print("noise on standard output")
        words = source.path.read_bytes().decode("latin-1").split()
        if "die" in words:
            os._exit(9)
        if "hang" in words:
            time.sleep(60)
        if "locked" in words:
            raise DocumentError(Reason.LOCKED_PDF, "the PDF is locked", file=source.name)
        if "bug" in words:
            raise ZeroDivisionError("oops")
        if on_page:
            on_page(1, 1)
        high = -4.0 if "negative" in words else 37.0
        claim = Claim(source.name, 1, None, None, "ZQ" + words[-1], None, "rear_derailleur", "total_capacity",
                      high=high, unit="T", snippet="s", method="m", confidence=0.9)
        failed = (Fault(Reason.BROKEN_PAGE, "the page is broken", source.name, "page 2"),) if "page" in words else ()
        return Reading(source, 2, (claim,), (), failed, 0.1, "whatever")
''')  # fmt: skip


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> IngestSettings:
    modules = tmp_path / "modules"
    modules.mkdir()
    (modules / "pretend_reader.py").write_text(_READER)
    monkeypatch.syspath_prepend(str(modules))
    return IngestSettings(reader="pretend_reader:read", reader_version="v1", silence_s=3)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "manuals"
    folder.mkdir()
    return folder


def put(folder: Path, *names_and_words: tuple[str, str]) -> None:
    for name, words in names_and_words:
        (folder / name).write_bytes(f"%PDF-1.7\n{words}".encode("latin-1"))


def codes(store: FolderStore) -> list[str]:
    return [part.code for part in list_limits(store)]


def reasons(report: IngestReport) -> dict[str, Reason]:
    return {Path(fault.file or "").name: fault.reason for fault in report.failures}


def test_reading_keeps_claims_and_copies(store: FolderStore, folder: Path, settings: IngestSettings) -> None:
    put(folder, ("a.pdf", "100"), ("b.pdf", "200"))
    steps: list[Progress] = []
    report = ingest(store, [folder], on_progress=steps.append, settings=settings)
    assert report.complete
    assert report.as_json().items() >= {"files": 2, "read": 2, "unchanged": 0, "pages": 4, "claims": 2}.items()
    assert codes(store) == ["ZQ100", "ZQ200"]
    copies = {p.name: p.read_bytes() for p in store.sources.iterdir()}
    assert copies == {f"{hashlib.sha256(p.read_bytes()).hexdigest()}.pdf": p.read_bytes() for p in folder.iterdir()}
    assert (steps[-1].done, steps[-1].total) == (2, 2)
    assert any(step.page == 1 for step in steps)


def test_unchanged_files_are_skipped_until_file_or_reader_change(
    store: FolderStore, folder: Path, settings: IngestSettings
) -> None:
    put(folder, ("a.pdf", "100"), ("b.pdf", "200"))
    ingest(store, [folder], settings=settings)
    assert ingest(store, [folder], settings=settings).as_json()["unchanged"] == 2
    put(folder, ("b.pdf", "300"))
    report = ingest(store, [folder], settings=settings)
    assert (report.unchanged, [d.document for d in report.documents]) == (1, ["b.pdf"])
    assert codes(store) == ["ZQ100", "ZQ200", "ZQ300"], "what the former file said is another document"
    later = IngestSettings(reader=settings.reader, reader_version="v2")
    assert len(ingest(store, [folder], settings=later).documents) == 2
    assert len(ingest(store, [folder], again=True, settings=later).documents) == 2


def test_a_document_whose_copy_is_gone_is_read_again(
    store: FolderStore, folder: Path, settings: IngestSettings
) -> None:
    put(folder, ("a.pdf", "100"))
    ingest(store, [folder], settings=settings)
    for copy in store.sources.iterdir():
        copy.unlink()
    assert len(ingest(store, [folder], settings=settings).documents) == 1


def test_a_moved_file_is_known_by_its_content(store: FolderStore, folder: Path, settings: IngestSettings) -> None:
    put(folder, ("a.pdf", "100"))
    ingest(store, [folder], settings=settings)
    (folder / "a.pdf").rename(folder / "moved.pdf")
    assert ingest(store, [folder], settings=settings).unchanged == 1
    with store.reading() as connection:
        (row,) = rows_of(connection, "select paths from documents")
    assert sorted(Path(p).name for p in row["paths"]) == ["a.pdf", "moved.pdf"]


def test_one_bad_document_never_costs_the_others(store: FolderStore, folder: Path, settings: IngestSettings) -> None:
    put(
        folder, ("a.pdf", "100"), ("die.pdf", "die 1"), ("hang.pdf", "hang 2"), ("locked.pdf", "locked 3"),
        ("bug.pdf", "bug 4"), ("z.pdf", "200"), ("page.pdf", "page 300"), ("negative.pdf", "negative 400"),
    )  # fmt: skip
    (folder / "text.pdf").write_text("no PDF at all")
    report = ingest(store, [folder], workers=2, settings=settings)
    assert reasons(report) == {
        "die.pdf": Reason.NOT_READABLE, "hang.pdf": Reason.TIMED_OUT, "locked.pdf": Reason.LOCKED_PDF,
        "bug.pdf": Reason.NOT_READABLE, "text.pdf": Reason.WRONG_TYPE,
    }  # fmt: skip
    assert sorted(d.document for d in report.documents) == ["a.pdf", "negative.pdf", "page.pdf", "z.pdf"]
    assert [fault.where for fault in report.failed_pages] == ["page 2"]
    assert (report.total("claims"), report.total("held_back")) == (3, 1)
    assert codes(store) == ["ZQ100", "ZQ200", "ZQ300"]
    assert not report.complete


def test_in_this_process_a_fault_is_one_of_the_document_too(
    store: FolderStore, folder: Path, settings: IngestSettings
) -> None:
    put(folder, ("a.pdf", "bug 1"), ("b.pdf", "locked 2"), ("c.pdf", "300"))
    report = ingest(store, [folder], workers=1, settings=settings)
    assert reasons(report) == {"a.pdf": Reason.NOT_READABLE, "b.pdf": Reason.LOCKED_PDF}
    assert codes(store) == ["ZQ300"]


def test_an_interruption_keeps_what_is_done_and_says_so(
    store: FolderStore, folder: Path, settings: IngestSettings
) -> None:
    put(folder, *((f"{n}.pdf", f"{n}00") for n in range(1, 6)))

    def stop_at_two(step: Progress) -> None:
        if step.done == 2:
            raise KeyboardInterrupt

    for workers in (1, 2):
        report = ingest(store, [folder], workers=workers, again=True, on_progress=stop_at_two, settings=settings)
        assert report.interrupted
        assert not report.complete
        assert len(report.documents) == 2
    assert len(codes(store)) >= 2


def test_nothing_to_read_makes_no_store(store: FolderStore, folder: Path, settings: IngestSettings) -> None:
    report = ingest(store, [folder], settings=settings)
    assert [fault.reason for fault in report.failures] == [Reason.NOTHING_FOUND]
    report = ingest(store, [folder / "missing"], settings=settings)
    assert [fault.reason for fault in report.failures] == [Reason.NOT_FOUND]
    assert not store.folder.exists()


def test_the_stores_own_copies_are_no_documents(tmp_path: Path, settings: IngestSettings) -> None:
    put(tmp_path, ("zz.pdf", "100"))
    store = FolderStore(tmp_path / "ledger")
    ingest(store, [tmp_path], settings=settings)
    report = ingest(store, [tmp_path], again=True, settings=settings)
    assert [d.document for d in report.documents] == ["zz.pdf"]


def test_a_store_that_cannot_be_written_ends_the_call(tmp_path: Path, folder: Path, settings: IngestSettings) -> None:
    put(folder, ("a.pdf", "100"))
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError):
        ingest(FolderStore(tmp_path / "file" / "ledger"), [folder], settings=settings)
