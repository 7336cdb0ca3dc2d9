"""A process that reads documents for another: sources in, readings out.

Started as a program of its own and not forked, so that it works alike on every system and runs nothing of the caller's
script. What travels is one pickled message after another, each behind its length.
"""

from __future__ import annotations

import logging
import os
import pickle
import queue
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from ..schema.errors import CogledgerError, DocumentError, Fault
from ..schema.reasons import Reason

if TYPE_CHECKING:
    from ..extract.records import Reading, Source

_LOG = logging.getLogger(__name__)
_LENGTH = struct.Struct(">Q")
_START = "from cogledger.warehouse.worker import serve; serve()"
_START_S = 120.0
"""Longest time, in seconds, that a new process may take until it takes orders."""

OnPage = Callable[[int, int], None]


def load_reader(name: str) -> Callable[..., Reading]:
    """The function that ``"module:function"`` names."""
    module, _, function = name.partition(":")
    return getattr(import_module(module), function)


def read_one(reader: str, source: Source, on_page: OnPage | None = None) -> Reading | Fault:
    """Read one source; whatever goes wrong with it is a fault of that source."""
    try:
        return load_reader(reader)(source, on_page)
    except CogledgerError as error:
        return error.fault
    except MemoryError:
        return Fault(Reason.TOO_LARGE, "there was not enough memory to read it", file=source.name)
    except Exception as error:
        message = f"it could not be read ({type(error).__name__}: {error})"
        return Fault(Reason.NOT_READABLE, message, file=source.name, advice="the other documents were read")


def serve() -> None:
    """The worker's whole life: take sources from standard input and answer until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    orders = sys.stdin.buffer
    sys.path[:] = _receive(orders) or sys.path
    _send(answers, ("ready",))
    while (order := _receive(orders)) is not None:
        reader, source = order
        result = read_one(reader, source, lambda page, pages: _send(answers, ("page", page, pages)))
        _send(answers, ("done", result))


def _send(pipe: IO[bytes], message: object) -> None:
    data = pickle.dumps(message)
    pipe.write(_LENGTH.pack(len(data)) + data)
    pipe.flush()


def _receive(pipe: IO[bytes]) -> Any:
    """The next message, or ``None`` where the other side is gone."""
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    (length,) = _LENGTH.unpack(head)
    data = pipe.read(length)
    return pickle.loads(data) if len(data) == length else None


class Worker:
    """The caller's end of one worker process; a process that died or was silent too long is replaced by a new one."""

    def __init__(self, reader: str, silence_s: float) -> None:
        self._reader, self._silence_s = reader, silence_s
        self._process: subprocess.Popen[bytes] | None = None

    def read(self, source: Source, on_page: OnPage) -> Reading | Fault:
        """Read one source in the worker process."""
        process = self._process or self._start()
        assert process.stdin and process.stdout
        silent = threading.Event()
        watch = _Watch(self._silence_s, lambda: (silent.set(), process.kill()))
        try:
            _send(process.stdin, (self._reader, source))
            watch.wind()
            while (message := _receive(process.stdout)) is not None:
                watch.wind()
                if message[0] == "done":
                    return message[1]
                on_page(*message[1:])
        except OSError:
            pass
        finally:
            watch.stop()
        return self._bury(source, silent.is_set())

    def _start(self) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            [sys.executable, "-c", _START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=None if _LOG.isEnabledFor(logging.DEBUG) else subprocess.DEVNULL,
        )
        assert process.stdin and process.stdout
        self._process = process
        watch = _Watch(_START_S, process.kill)
        watch.wind()
        try:
            _send(process.stdin, sys.path)
            _receive(process.stdout)
        finally:
            watch.stop()
        return process

    def _bury(self, source: Source, silent: bool) -> Fault:
        """What became of the source whose worker is gone."""
        code = self.stop()
        if silent:
            message = f"reading it gave no sign for {self._silence_s:g} s"
            return Fault(Reason.TIMED_OUT, message, file=source.name, advice="the other documents were read")
        message = f"the process that read it ended unexpectedly (status {code})"
        return Fault(Reason.NOT_READABLE, message, file=source.name, advice="the other documents were read")

    def stop(self) -> int | None:
        """End the process, if there is one; its exit status."""
        process, self._process = self._process, None
        if process is None:
            return None
        process.kill()
        code = process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe:
                try:
                    pipe.close()
                except OSError:
                    continue
        return code


class _Watch:
    """Calls ``on_end`` when it was not wound for ``seconds``."""

    def __init__(self, seconds: float, on_end: Callable[[], object]) -> None:
        self._seconds, self._on_end = seconds, on_end
        self._timer: threading.Timer | None = None

    def wind(self) -> None:
        self.stop()
        self._timer = threading.Timer(self._seconds, self._on_end)
        self._timer.daemon = True
        self._timer.start()

    def stop(self) -> None:
        if self._timer:
            self._timer.cancel()


class Crew:
    """Several workers on one list of sources. What happens comes out of ``events`` in the order in which it happens."""

    def __init__(self, reader: str, sources: list[Source], workers: int, silence_s: float) -> None:
        self.events: queue.Queue[tuple[str, Source, Any]] = queue.Queue()
        self._waiting: queue.SimpleQueue[Source] = queue.SimpleQueue()
        for source in sources:
            self._waiting.put(source)
        self._stopped = threading.Event()
        self._workers = [Worker(reader, silence_s) for _ in range(min(workers, len(sources)))]
        self._threads = [threading.Thread(target=self._work, args=(w,), daemon=True) for w in self._workers]

    def start(self) -> None:
        """Let the workers begin."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End every worker, at once."""
        self._stopped.set()
        for worker in self._workers:
            worker.stop()

    def _work(self, worker: Worker) -> None:
        while not self._stopped.is_set():
            try:
                source = self._waiting.get_nowait()
            except queue.Empty:
                break
            self.events.put(("done", source, self._attempt(worker, source)))
        worker.stop()

    def _attempt(self, worker: Worker, source: Source) -> Reading | Fault:
        try:
            return worker.read(source, lambda page, pages: self.events.put(("page", source, (page, pages))))
        except Exception as error:
            return DocumentError(
                Reason.NOT_READABLE,
                f"it could not be handed to a process of its own ({error})",
                file=str(Path(source.path)),
            ).fault
