"""Reading on a real Dask cluster on loopback: as on one machine, also where workers die and schedulers go."""

from __future__ import annotations

import hashlib
import logging
import os
import signal
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.extract.sources import find_sources
from cogledger.schema.errors import CallError, CogledgerError, Fault, InstallationError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.cluster import ClusterCrew, ClusterSettings, is_address
from cogledger.warehouse.worker import Crew, read_one
from distributed import Client

DOCUMENTS = Path(__file__).parents[2] / "fixtures" / "documents"
PIPELINE = "cogledger.extract.pipeline:read_source"

_READER = textwrap.dedent('''
    import os, signal, sys, time
    from pathlib import Path
    from cogledger.extract.records import Reading
    from cogledger.schema.claims import Claim
    from cogledger.schema.errors import DocumentError
    from cogledger.schema.reasons import Reason

    READER_VERSION = "{version}"

    def read(source, on_page=None):
        print("noise on standard output")
        data = source.path.read_bytes()
        words = data.decode("latin-1").split()
        if "die" in words:
            os._exit(9)
        if "kill" in words:
            os.kill(os.getppid(), signal.SIGKILL)
            time.sleep(60)
        if "hang" in words:
            time.sleep(60)
        if "locked" in words:
            raise DocumentError(Reason.LOCKED_PDF, f"the PDF is locked", file=str(source.path))
        if "bug" in words:
            raise ZeroDivisionError("oops")
        if "wait" in words:
            folder = Path(words[-1])
            (folder / f"{{os.getpid()}}-{{os.getppid()}}.reading").touch()
            while not (folder / "go").exists():
                time.sleep(0.02)
        if on_page:
            on_page(1, 2)
        claim = Claim(source.name, 1, None, None, "ZQ" + str(len(data)), None, "rear_derailleur", "total_capacity",
                      high=37, unit="T", snippet="s", method="m", confidence=0.9)
        return Reading(source, 2, (claim,), (), (), 0.1, READER_VERSION)
''')  # fmt: skip


@pytest.fixture
def put_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Make a reader known to the workers and here; its name. Every test has one of its own."""

    def put(cluster: Any, version: str = "1", there: str = "1") -> str:
        name = f"reader_{hashlib.sha256(str(tmp_path).encode()).hexdigest()[:12]}"
        here = tmp_path / "modules"
        here.mkdir()
        (here / f"{name}.py").write_text(_READER.format(version=version))
        (cluster.modules / f"{name}.py").write_text(_READER.format(version=there))
        monkeypatch.syspath_prepend(str(here))
        return f"{name}:read"

    return put


@pytest.fixture
def put(tmp_path: Path) -> Callable[..., list[Source]]:
    """Documents with these words, as sources."""

    def write(*texts: str) -> list[Source]:
        sources = []
        for number, text in enumerate(texts):
            path = tmp_path / f"d{number}.PDF"
            path.write_bytes(f"%PDF-1.7\n{'x ' * number}{text}".encode())
            data = path.read_bytes()
            sources.append(Source(path, path.name, hashlib.sha256(data).hexdigest(), len(data), SourceKind.PDF))
        return sources

    return write


@contextmanager
def started(crew: Any) -> Iterator[Any]:
    crew.start()
    try:
        yield crew
    finally:
        crew.stop()


def results_of(crew: Any, count: int, wait_s: float = 60) -> tuple[dict[str, Reading | Fault], list[Any]]:
    """What became of each document, by its name, and the words on pages meanwhile."""
    results, pages = {}, []
    while len(results) < count:
        event, source, what = crew.events.get(timeout=wait_s)
        if event == "done":
            assert source.name not in results
            results[source.name] = what
        else:
            pages.append((source.name, what))
    return results, pages


def wait_for(what: Callable[[], Any], seconds: float = 30) -> Any:
    give_up = time.monotonic() + seconds
    while not (found := what()):
        assert time.monotonic() < give_up, "it took too long"
        time.sleep(0.02)
    return found


def refusal(action: Callable[[], object], kind: type[CogledgerError]) -> str:
    with pytest.raises(kind) as caught:
        action()
    return str(caught.value)


def test_a_cluster_reads_what_one_machine_reads(cluster: Any) -> None:
    sources, faults = find_sources([p for p in sorted(DOCUMENTS.glob("*.pdf")) if "scan" not in p.name])
    assert (len(sources), faults) == (10, [])
    with started(ClusterCrew(PIPELINE, sources, cluster.address, 60)) as crew:
        results, pages = results_of(crew, len(sources))
    for source in sources:
        here, there = read_one(PIPELINE, source), results[source.name]
        assert isinstance(here, Reading)
        assert isinstance(there, Reading)
        assert replace(there, seconds=0) == replace(here, seconds=0)
    assert {name for name, _ in pages} <= set(results)
    assert pages


def test_what_fails_on_one_machine_fails_alike_on_a_cluster(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str]
) -> None:
    reader = put_reader(cluster)
    sources = put("100", "die", "hang", "locked", "bug", "200")
    with started(Crew(reader, sources, 2, 1.5)) as crew:
        here, _ = results_of(crew, len(sources))
    with started(ClusterCrew(reader, sources, cluster.address, 1.5)) as crew:
        there, _ = results_of(crew, len(sources))
    reasons = [r.reason if isinstance(r, Fault) else None for _, r in sorted(there.items())]
    assert reasons == [None, Reason.NOT_READABLE, Reason.TIMED_OUT, Reason.LOCKED_PDF, Reason.NOT_READABLE, None]
    locked = here["d3.PDF"]
    assert isinstance(locked, Fault)
    here["d3.PDF"] = replace(locked, file="d3.PDF")
    assert there == here


def test_a_killed_worker_costs_no_document(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str], tmp_path: Path
) -> None:
    sources = put(*([f"wait {tmp_path}"] * 6))
    with started(ClusterCrew(put_reader(cluster), sources, cluster.address, 60)) as crew:
        (at_work, *_) = wait_for(lambda: list(tmp_path.glob("*.reading")))
        os.kill(int(at_work.stem.split("-")[1]), signal.SIGKILL)
        (tmp_path / "go").touch()
        results, _ = results_of(crew, 6)
    assert all(isinstance(result, Reading) for result in results.values())


def test_a_document_at_which_every_worker_dies_is_given_up_and_the_others_go_on(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str]
) -> None:
    sources = put("kill", *(["100"] * 5))
    with started(ClusterCrew(put_reader(cluster), sources, cluster.address, 60, ClusterSettings(ahead=1))) as crew:
        results, _ = results_of(crew, 6)
    fault = results.pop("d0.PDF")
    assert isinstance(fault, Fault)
    assert fault.message == "every worker that read it ended unexpectedly (2 tries)"
    assert sum(isinstance(result, Reading) for result in results.values()) == 5


def test_stopping_ends_what_is_under_way_on_the_workers(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str], tmp_path: Path
) -> None:
    crew = ClusterCrew(put_reader(cluster), put(*([f"wait {tmp_path}"] * 8)), cluster.address, 60)
    crew.start()
    at_work = wait_for(lambda: len(found := list(tmp_path.glob("*.reading"))) == 2 and found)
    began = time.monotonic()
    crew.stop()
    assert time.monotonic() - began < 5
    for file in at_work:
        wait_for(lambda file=file: not is_running(int(file.stem.split("-")[0])), 5)
    assert crew.events.empty()
    with Client(cluster.address, set_as_default=False) as client:
        wait_for(lambda: not any(dict(client.processing()).values()), 10)


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_documents_wait_their_turn_on_this_side(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str], tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    sources = put(*([f"wait {tmp_path}"] * 12))
    opened: list[str] = []
    read_bytes = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: (opened.append(path.name), read_bytes(path))[1])
    settings = ClusterSettings(ahead=4, bytes_under_way=3 * sources[-1].size)
    with started(ClusterCrew(put_reader(cluster), sources, cluster.address, 60, settings)) as crew:
        wait_for(lambda: len(list(tmp_path.glob("*.reading"))) == 2)
        time.sleep(0.3)
        assert len(opened) == 3
        (tmp_path / "go").touch()
        results, _ = results_of(crew, 12)
    assert all(isinstance(result, Reading) for result in results.values())
    assert sorted(opened) == sorted(source.name for source in sources)


def test_one_document_larger_than_all_room_goes_alone(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str]
) -> None:
    settings = ClusterSettings(bytes_under_way=5)
    with started(ClusterCrew(put_reader(cluster), put("a", "b", "c"), cluster.address, 60, settings)) as crew:
        results, _ = results_of(crew, 3)
    assert all(isinstance(result, Reading) for result in results.values())


def test_a_file_that_changed_or_went_is_a_fault_of_its_own(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str]
) -> None:
    sources = put("a", "b", "c")
    sources[0].path.write_bytes(b"something else")
    sources[1].path.unlink()
    with started(ClusterCrew(put_reader(cluster), sources, cluster.address, 60)) as crew:
        results, _ = results_of(crew, 3)
    changed, gone, fine = (results[f"d{n}.PDF"] for n in range(3))
    assert isinstance(changed, Fault)
    assert changed.message == "the file changed while it was being read"
    assert isinstance(gone, Fault)
    assert gone.message == "it could not be sent to a worker (No such file or directory)"
    assert isinstance(fine, Reading)


def test_a_scheduler_that_goes_costs_only_what_is_not_done(
    own_cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str], tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    said: list[str] = []
    monkeypatch.setattr(logging.Logger, "handle", lambda logger, record: said.append(record.getMessage()))
    level = logging.getLogger("distributed.client").level
    own_cluster.add_worker()
    sources = put("100", *([f"wait {tmp_path}"] * 5))
    settings = ClusterSettings(ahead=1, watch_s=0.2, patience_s=3)
    with started(ClusterCrew(put_reader(own_cluster), sources, own_cluster.address, 60, settings)) as crew:
        first, _ = results_of(crew, 1)
        own_cluster.stop_scheduler()
        rest, _ = results_of(crew, 5)
    assert isinstance(first["d0.PDF"], Reading)
    sentences = {fault.sentence().partition(": ")[2] for fault in rest.values() if isinstance(fault, Fault)}
    assert sentences == {
        f"the Dask scheduler at {own_cluster.address} no longer answers; "
        "the documents already kept are skipped when you read again."
    }
    assert not [message for message in said if "Traceback" in message or "onnection" in message]
    assert logging.getLogger("distributed.client").level == level


def test_a_scheduler_whose_workers_all_go_is_not_waited_for_forever(
    own_cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str], tmp_path: Path
) -> None:
    reader = put_reader(own_cluster)
    few = ClusterSettings(connect_s=3, watch_s=0.2, patience_s=1)
    sources = put(*([f"wait {tmp_path}"] * 3))
    crew = ClusterCrew(reader, sources, own_cluster.address, 60, replace(few, connect_s=1.5))
    assert refusal(crew.start, CallError) == (
        f"the Dask scheduler at {own_cluster.address} has no workers; "
        f"start some with: dask worker {own_cluster.address}."
    )
    own_cluster.add_worker()
    with started(ClusterCrew(reader, sources, own_cluster.address, 60, replace(few, connect_s=30))) as crew:
        wait_for(lambda: list(tmp_path.glob("*.reading")))
        own_cluster.stop_worker()
        results, _ = results_of(crew, 3)
    messages = {result.message for result in results.values() if isinstance(result, Fault)}
    assert messages == {f"the Dask scheduler at {own_cluster.address} had no worker for 1 s"}


def test_workers_that_join_later_are_used(
    own_cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str], tmp_path: Path
) -> None:
    own_cluster.add_worker()
    settings = ClusterSettings(ahead=1, watch_s=0.2, connect_s=30)
    sources = put(*([f"wait {tmp_path}"] * 3))
    with started(ClusterCrew(put_reader(own_cluster), sources, own_cluster.address, 60, settings)) as crew:
        wait_for(lambda: list(tmp_path.glob("*.reading")))
        own_cluster.add_worker()
        wait_for(lambda: len(list(tmp_path.glob("*.reading"))) == 2)
        (tmp_path / "go").touch()
        results, _ = results_of(crew, 3)
    assert all(isinstance(result, Reading) for result in results.values())


def test_another_reader_on_a_worker_is_refused(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str]
) -> None:
    crew = ClusterCrew(put_reader(cluster, version="2", there="1"), put("a"), cluster.address, 60)
    sentence = refusal(crew.start, InstallationError)
    assert "reads with version 1 of the reader, this machine with 2; install the same cogledger there" in sentence


def test_a_worker_without_the_reader_is_refused(
    cluster: Any, put: Callable[..., list[Source]], put_reader: Callable[..., str]
) -> None:
    reader = put_reader(cluster)
    (cluster.modules / f"{reader.partition(':')[0]}.py").unlink()
    sentence = refusal(ClusterCrew(reader, put("a"), cluster.address, 60).start, InstallationError)
    assert "cannot run the reader (ModuleNotFoundError" in sentence


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "tcp://nowhere.invalid:8786", "tcp://127.0.0.1:notaport"])
def test_a_wrong_address_is_one_sentence(put: Callable[..., list[Source]], address: str) -> None:
    crew = ClusterCrew(PIPELINE, put("a"), address, 60, ClusterSettings(connect_s=1))
    sentence = refusal(crew.start, CallError)
    assert sentence.startswith(f"no Dask scheduler answers at {address} (")
    assert sentence.endswith("dask scheduler; or read on this machine with --workers and a number.")
    assert "\n" not in sentence


def test_without_dask_it_is_told_how_to_get_it(
    put: Callable[..., list[Source]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    sentence = refusal(ClusterCrew(PIPELINE, put("a"), "tcp://127.0.0.1:8786", 60).start, InstallationError)
    assert sentence.endswith("install it with: pip install 'cogledger[team]'.")


def test_addresses_are_told_from_numbers() -> None:
    assert is_address("tcp://10.0.0.7:8786")
    assert is_address("tls://scheduler:8786")
    assert not any(map(is_address, ["4", "", 4, None]))
