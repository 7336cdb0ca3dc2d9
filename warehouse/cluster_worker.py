"""What runs on a worker of a Dask cluster: a document's bytes in, its reading out.

Reading itself happens in a process beside the worker's own, as on one machine, so that a document at which a reader
crashes or hangs costs neither the worker nor the other documents. Such a process is used again for the next document
and ends when none came for a while.
"""

from __future__ import annotations

import hashlib
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from ..schema.errors import Fault
from ..schema.reasons import Reason
from .worker import OnPage, Worker

if TYPE_CHECKING:
    from ..extract.records import Reading, SourceKind

_IDLE_S = 60.0
"""So long, in seconds, a reading process waits for its next document."""
_PAGE_PAUSE_S = 0.5
"""So much time, in seconds, lies at least between two words on how far a document is."""


@dataclass(frozen=True)
class Order:
    """One document to read, and for whom: ``caller`` stands for one call of reading, ``version`` for its reader's.

    The document's own path means nothing here and stays with the caller; ``suffix`` is how it ends.
    """

    caller: str
    document: int
    reader: str
    version: str | None
    silence_s: float
    name: str
    suffix: str
    sha256: str
    size: int
    kind: SourceKind


def find_version(reader: str) -> str | None:
    """The version of the reader ``"module:function"``, as its module states it in ``READER_VERSION``."""
    return getattr(import_module(reader.partition(":")[0]), "READER_VERSION", None)


def read_sent(order: Order, data: bytes) -> Reading | Fault:
    """Read a document that came over the network; its source's path is one on this machine."""
    here = find_version(order.reader)
    if here != order.version:
        message = f"a worker reads with version {here} of the reader, this machine with {order.version}"
        return Fault(Reason.NOT_READABLE, message, order.name, advice="install the same cogledger on every worker")
    if hashlib.sha256(data).hexdigest() != order.sha256:
        message = "the file changed while it was being read"
        return Fault(Reason.NOT_READABLE, message, order.name, advice="read it again")
    from ..extract.records import Source

    with tempfile.TemporaryDirectory(prefix="cogledger-", ignore_cleanup_errors=True) as folder:
        path = Path(folder) / f"document{order.suffix}"
        path.write_bytes(data)
        source = Source(path, order.name, order.sha256, order.size, order.kind)
        with _BENCH.seat(order) as worker:
            result = worker.read(source, _make_teller(order))
    return _without_path(result, folder, order.name) if isinstance(result, Fault) else result


def end_reading(caller: str) -> int:
    """End, at once, every process that reads for this caller; how many there were."""
    return _BENCH.end(caller)


def _make_teller(order: Order) -> OnPage:
    """What tells the caller, through the scheduler, how far a document is; silent outside a cluster."""
    try:
        from distributed import get_worker

        dask_worker = get_worker()
    except (ImportError, ValueError):
        return lambda page, pages: None
    last = 0.0

    def tell(page: int, pages: int) -> None:
        nonlocal last
        if time.monotonic() - last >= _PAGE_PAUSE_S:
            last = time.monotonic()
            dask_worker.log_event(order.caller, (order.document, page, pages))

    return tell


def _without_path(fault: Fault, folder: str, name: str) -> Fault:
    """A fault without the place where the document lay on this machine."""
    return replace(fault, file=name if fault.file and folder in fault.file else fault.file,
                   message=fault.message.replace(folder, ""))  # fmt: skip


class _Bench:
    """The reading processes of this machine: those at work, by caller, and those that wait, by reader."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._busy: defaultdict[str, set[Worker]] = defaultdict(set)
        self._idle: defaultdict[tuple[str, float], list[Worker]] = defaultdict(list)

    @contextmanager
    def seat(self, order: Order) -> Iterator[Worker]:
        """A process to read with, for the length of a ``with`` block."""
        key = (order.reader, order.silence_s)
        with self._lock:
            worker = self._idle[key].pop() if self._idle[key] else Worker(*key)
            self._busy[order.caller].add(worker)
        try:
            yield worker
        finally:
            with self._lock:
                self._busy[order.caller].discard(worker)
                self._idle[key].append(worker)
            _later(_IDLE_S, lambda: self._dismiss(key, worker))

    def end(self, caller: str) -> int:
        with self._lock:
            workers = list(self._busy.get(caller, ()))
        for worker in workers:
            worker.stop()
        return len(workers)

    def _dismiss(self, key: tuple[str, float], worker: Worker) -> None:
        """End a process that waits; one that was taken meanwhile is left alone, and ends a while after that."""
        with self._lock:
            if worker not in self._idle[key]:
                return
            self._idle[key].remove(worker)
        worker.stop()


def _later(seconds: float, action: Callable[[], object]) -> None:
    timer = threading.Timer(seconds, action)
    timer.daemon = True
    timer.start()


_BENCH = _Bench()
