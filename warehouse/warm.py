"""A connection that stays open for a moment after its last use, so that the next reader need not open it anew."""

from __future__ import annotations

import atexit
import threading
import time
from weakref import WeakSet

import duckdb

_READERS: WeakSet[WarmReader] = WeakSet()


@atexit.register
def _let_all_go() -> None:
    for reader in list(_READERS):
        reader.let_go()


class WarmReader:
    """Holds a reading connection until ``linger_s`` seconds after the last reader is done.

    While it is held, DuckDB opens the same database in no time. Whoever wants to write lets it go first; a writer in
    another process waits no longer than this lingers.
    """

    def __init__(self, linger_s: float) -> None:
        _READERS.add(self)
        self._linger_s = linger_s
        self._lock = threading.Lock()
        self._held: duckdb.DuckDBPyConnection | None = None
        self._until = 0.0
        self._closer: threading.Thread | None = None

    def is_held(self) -> bool:
        """Whether the database is open; it stays so for ``linger_s`` from now."""
        with self._lock:
            self._until = time.monotonic() + self._linger_s
            return self._held is not None

    def hold(self, connection: duckdb.DuckDBPyConnection) -> None:
        """Keep this connection; one that is held already stays, and the other is closed."""
        with self._lock:
            self._until = time.monotonic() + self._linger_s
            if self._held is None and self._linger_s > 0:
                self._held = connection
            else:
                connection.close()

    def let_go_soon(self) -> None:
        """A reader is done: close in ``linger_s`` unless another comes."""
        with self._lock:
            self._until = time.monotonic() + self._linger_s
            if self._held is None or self._closer is not None:
                return
            self._closer = threading.Thread(target=self._close_in_time, daemon=True)
            self._closer.start()

    def let_go(self) -> None:
        """Close at once."""
        with self._lock:
            if self._held is not None:
                self._held.close()
                self._held = None

    def _close_in_time(self) -> None:
        while True:
            with self._lock:
                left = self._until - time.monotonic()
                if self._held is None or left <= 0:
                    if self._held is not None:
                        self._held.close()
                        self._held = None
                    self._closer = None
                    return
            time.sleep(left)
