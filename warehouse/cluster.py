"""Several machines on one list of sources, through a Dask cluster: the same outside as the crew of one machine.

Each document's bytes travel with its order, so that the workers need no shared folder. Only a few documents are under
way at a time; the archive itself never lies in memory.
"""

from __future__ import annotations

import logging
import queue
import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from ..schema.errors import CallError, Fault, InstallationError
from ..schema.reasons import Reason
from .cluster_worker import Order, end_reading, find_version, read_sent
from .extensions import INSTALL_TEAM

if TYPE_CHECKING:
    from distributed import Client, Future

    from ..extract.records import Reading, Source

_LOG = logging.getLogger(__name__)
_SCHEMES = ("tcp://", "tls://", "ws://", "wss://")
_LOGGERS = (
    "distributed.client",
    "distributed.core",
    "distributed.batched",
    "distributed.utils",
    "distributed.comm.tcp",
)
_NOT_KEPT = "the documents already kept are skipped when you read again"


@dataclass(frozen=True)
class ClusterSettings:
    """How the cluster is used; times in seconds.

    ``connect_s`` is how long to wait for the scheduler, ``patience_s`` how long for a worker while there is none.
    ``ahead`` documents are under way for each thread of the workers, and ``bytes_under_way`` of documents in all; a
    larger document goes alone.
    """

    connect_s: float = 10.0
    patience_s: float = 30.0
    ahead: int = 2
    most_under_way: int = 256
    bytes_under_way: int = 256 * 2**20
    watch_s: float = 1.0


def is_address(workers: object) -> bool:
    """Whether what was given as workers is a cluster's address rather than a number of processes."""
    return isinstance(workers, str) and workers.startswith(_SCHEMES)


class ClusterCrew:
    """The workers of a Dask cluster on one list of sources; what happens comes out of ``events`` as it happens.

    Events are ``("page", source, (page, pages))`` and, once for each source, ``("done", source, reading or fault)``.
    """

    def __init__(
        self,
        reader: str,
        sources: list[Source],
        address: str,
        silence_s: float,
        settings: ClusterSettings | None = None,
    ) -> None:
        self.events: queue.Queue[tuple[str, Source, Any]] = queue.Queue()
        self._reader, self._address, self._silence_s = reader, address, silence_s
        self._settings = settings or ClusterSettings()
        self._sources = sources
        self._waiting: queue.SimpleQueue[int] = queue.SimpleQueue()
        for number in range(len(sources)):
            self._waiting.put(number)
        self._caller = f"cogledger-{uuid.uuid4().hex}"
        self._version = find_version(reader)
        self._room = _Room(self._settings.bytes_under_way)
        self._stopped, self._lost = threading.Event(), ""
        self._threads: list[threading.Thread] = []
        self._under_way: set[Future] = set()
        self._lock = threading.Lock()
        self._client: Client | None = None
        self._levels: dict[str, int] = {}

    def start(self) -> None:
        """Let the workers begin.

        :raises CallError: no scheduler answers at the address, or it has no workers
        :raises InstallationError: Dask is missing here, or a worker has another cogledger
        """
        _import_dask()
        self._levels = _quieten()
        try:
            self._client = _connect(self._address, self._settings.connect_s)
            threads = self._check_workers(self._client)
            self._client.subscribe_topic(self._caller, self._pass_on)
        except BaseException:
            self.stop()
            raise
        self._engage(threads)
        threading.Thread(target=self._watch, daemon=True).start()

    def stop(self) -> None:
        """Cancel what is under way, at once, on every worker, and leave the cluster."""
        self._stopped.set()
        self._room.open_up()
        client, self._client = self._client, None
        if client is not None:
            self._leave(client)
        levels, self._levels = self._levels, {}
        for name, level in levels.items():
            logging.getLogger(name).setLevel(level)

    def _leave(self, client: Client) -> None:
        with self._lock:
            under_way = list(self._under_way)
        with suppress(Exception):
            if under_way and not self._lost:
                client.cancel(under_way, force=True)
                client.run(end_reading, self._caller, on_error="ignore")
        with suppress(Exception):
            client.close(timeout=2)

    def _check_workers(self, client: Client) -> int:
        """How many threads the workers have, once every one of them is known to read as this machine does."""
        try:
            client.wait_for_workers(1, timeout=self._settings.connect_s)
        except TimeoutError:
            message = f"the Dask scheduler at {self._address} has no workers"
            advice = f"start some with: dask worker {self._address}"
            raise CallError(Reason.BAD_CALL, message, advice=advice) from None
        versions: Any = client.run(find_version, self._reader, on_error="return")
        for worker, version in versions.items():
            if isinstance(version, BaseException):
                said = f"cannot run the reader ({type(version).__name__}: {version})"
            elif version != self._version:
                said = f"reads with version {version} of the reader, this machine with {self._version}"
            else:
                continue
            advice = f"install the same cogledger there, and start the worker again: {INSTALL_TEAM}"
            raise InstallationError(Reason.ENGINE_MISSING, f"the worker {worker} {said}", advice=advice)
        return _count_threads(client)

    def _engage(self, threads: int) -> None:
        """Have as many documents under way as the workers' threads call for."""
        wanted = min(threads * self._settings.ahead, self._settings.most_under_way, len(self._sources))
        for _ in range(wanted - len(self._threads)):
            thread = threading.Thread(target=self._work, daemon=True)
            self._threads.append(thread)
            thread.start()

    def _watch(self) -> None:
        """Notice workers that join, and workers and schedulers that are gone for good."""
        missing_s = 0.0
        while not self._stopped.wait(self._settings.watch_s):
            client = self._client
            if client is None:
                return
            try:
                threads = _count_threads(client)
            except Exception as error:
                _LOG.info("the scheduler does not answer: %s", error)
                threads = 0
            missing_s = 0.0 if threads else missing_s + self._settings.watch_s
            gone = client.status != "running"
            if gone or missing_s >= self._settings.patience_s:
                why = "no longer answers" if gone else f"had no worker for {self._settings.patience_s:g} s"
                self._give_up(why)
                return
            self._engage(threads)

    def _give_up(self, why: str) -> None:
        self._lost = self._lost or f"the Dask scheduler at {self._address} {why}"
        self._room.open_up()
        client = self._client
        with self._lock:
            under_way = list(self._under_way)
        if client is not None:
            with suppress(Exception):
                client.cancel(under_way, force=True)

    def _work(self) -> None:
        while not self._stopped.is_set():
            try:
                number = self._waiting.get_nowait()
            except queue.Empty:
                return
            source = self._sources[number]
            result = self._attempt(number, source)
            if not self._stopped.is_set():
                self.events.put(("done", source, result))

    def _attempt(self, number: int, source: Source) -> Reading | Fault:
        with self._room.taken(source.size):
            if self._lost:
                return self._fault(source, self._lost, _NOT_KEPT)
            try:
                result = self._read(number, source)
            except OSError as error:
                return self._fault(source, f"it could not be sent to a worker ({error.strerror or error})")
            except Exception as error:
                return self._explain(source, error)
        return result if isinstance(result, Fault) else replace(result, source=source)

    def _read(self, number: int, source: Source) -> Reading | Fault:
        order = Order(
            self._caller, number, self._reader, self._version, self._silence_s, source.name,
            source.path.suffix.lower(), source.sha256, source.size, source.kind,
        )  # fmt: skip
        client = self._client
        assert client is not None
        future = client.submit(read_sent, order, source.path.read_bytes(), pure=False, key=f"{self._caller}-{number}")
        with self._lock:
            self._under_way.add(future)
        try:
            return future.result()
        finally:
            with self._lock:
                self._under_way.discard(future)
            future.release()

    def _explain(self, source: Source, error: Exception) -> Fault:
        """What became of a document that no worker could finish."""
        from distributed import CancelledError, KilledWorker

        if isinstance(error, KilledWorker):
            tries = getattr(error, "allowed_failures", 0) + 1
            return self._fault(source, f"every worker that read it ended unexpectedly ({tries} tries)")
        if isinstance(error, CancelledError) or self._client is None or self._client.status != "running":
            self._lost = self._lost or f"the Dask scheduler at {self._address} no longer answers"
            return self._fault(source, self._lost, _NOT_KEPT)
        return self._fault(source, f"the cluster could not read it ({type(error).__name__}: {error})")

    def _fault(self, source: Source, message: str, advice: str = "the other documents were read") -> Fault:
        return Fault(Reason.NOT_READABLE, message, file=source.name, advice=advice)

    def _pass_on(self, event: tuple[float, tuple[int, int, int]]) -> None:
        """A worker's word on how far it is."""
        number, page, pages = event[1]
        self.events.put(("page", self._sources[number], (page, pages)))


class _Room:
    """So many bytes may be under way; a document that is larger than all the room takes the whole of it."""

    def __init__(self, size: int) -> None:
        self._size = self._free = size
        self._changed = threading.Condition()
        self._open = False

    @contextmanager
    def taken(self, size: int) -> Iterator[None]:
        """Wait for room for ``size`` bytes, and have it for the length of a ``with`` block."""
        size = min(size, self._size)
        with self._changed:
            self._changed.wait_for(lambda: self._open or self._free >= size)
            self._free -= size
        try:
            yield
        finally:
            with self._changed:
                self._free += size
                self._changed.notify_all()

    def open_up(self) -> None:
        """Let everyone in: nothing more will be sent."""
        with self._changed:
            self._open = True
            self._changed.notify_all()


def _quieten() -> dict[str, int]:
    """Keep Dask's own log to itself, since what matters is told in a sentence; the loggers' levels until now."""
    if _LOG.isEnabledFor(logging.DEBUG):
        return {}
    loggers = [logging.getLogger(name) for name in _LOGGERS]
    levels = {logger.name: logger.level for logger in loggers}
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    return levels


def _import_dask() -> None:
    """Import Dask, which sets up its log when it is first imported."""
    try:
        import distributed  # noqa: F401
        from dask import config
    except ImportError as error:
        message = f"reading on a cluster needs Dask, which is not installed ({error})"
        raise InstallationError(Reason.ENGINE_MISSING, message, advice=f"install it with: {INSTALL_TEAM}") from None
    config.set({"distributed.admin.large-graph-warning-threshold": "1TB"})


def _connect(address: str, wait_s: float) -> Client:
    from distributed import Client

    try:
        return Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        message = f"no Dask scheduler answers at {address} ({said})"
        advice = "start one with: dask scheduler; or read on this machine with --workers and a number"
        raise CallError(Reason.BAD_CALL, message, advice=advice) from None


def _count_threads(client: Client) -> int:
    threads: Any = client.nthreads()
    return sum(threads.values())
