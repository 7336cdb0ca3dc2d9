"""The servers that a team's store and a cluster need, started on loopback by the test run and stopped by it.

A server program that is missing fails the tests that need it; they are never skipped.
"""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import psycopg
import pytest
from cogledger.warehouse.lake_connection import let_go
from cogledger.warehouse.lake_store import LakeStore
from cogledger.warehouse.store import StoreSettings

_START_S = 60.0
_ROLE = "ledger"


def find_free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Postgres:
    """A PostgreSQL of our own: its data and socket in a folder of its own, anyone on loopback let in.

    PostgreSQL refuses to run as root; there it runs as a user without rights.
    """

    def __init__(self) -> None:
        self.programs = self._find_programs()
        self.folder = Path(tempfile.mkdtemp(prefix="pg-"))
        self.port = find_free_port()
        self._process: subprocess.Popen[bytes] | None = None
        self._databases = 0
        self._user: dict[str, object] = {}
        if os.geteuid() == 0:
            nobody = pwd.getpwnam("nobody")
            self._user = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}
            os.chown(self.folder, nobody.pw_uid, nobody.pw_gid)
        command = [self.programs / "initdb", "-D", self.folder / "data", "-U", _ROLE, "-A", "trust", "--no-sync",
                   "-E", "UTF8", "--locale=C"]  # fmt: skip
        made = subprocess.run(command, capture_output=True, text=True, cwd=self.folder, check=False, **self._user)  # type: ignore[call-overload]
        assert made.returncode == 0, made.stderr

    @staticmethod
    def _find_programs() -> Path:
        beside = [Path(found).resolve().parent for name in ("initdb", "postgres") if (found := shutil.which(name))]
        packaged = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: float(p.parent.name), reverse=True)
        for folder in [*beside, *packaged]:
            if (folder / "postgres").is_file() and (folder / "initdb").is_file():
                return folder
        pytest.fail("PostgreSQL is needed for this test: apt-get install postgresql")

    def start(self) -> None:
        options = {"listen_addresses": "127.0.0.1", "port": self.port, "unix_socket_directories": self.folder,
                   "fsync": "off", "max_connections": 100}  # fmt: skip
        command = [self.programs / "postgres", "-D", self.folder / "data"]
        command += [word for key, value in options.items() for word in ("-c", f"{key}={value}")]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log, cwd=self.folder, **self._user)  # type: ignore[call-overload]
        give_up = time.monotonic() + _START_S
        while time.monotonic() < give_up and self._process.poll() is None:
            try:
                psycopg.connect(self.keywords("postgres"), connect_timeout=5).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.02)
        pytest.fail(f"PostgreSQL did not start: {(self.folder / 'log').read_text()[-2000:]}")

    def stop(self, with_signal: signal.Signals = signal.SIGINT) -> None:
        """Stop it; SIGINT ends what is under way, SIGQUIT ends it as a crash would."""
        process, self._process = self._process, None
        if process:
            process.send_signal(with_signal)
            process.wait(_START_S)

    def keywords(self, database: str) -> str:
        """How libpq finds a database of this server."""
        return f"host=127.0.0.1 port={self.port} user={_ROLE} dbname={database}"

    def make_database(self, template: str = "template1") -> str:
        """A new database, empty or a copy of another; how libpq finds it."""
        self._databases += 1
        name = f"parts{self._databases}"
        with psycopg.connect(self.keywords("postgres"), autocommit=True) as connection:
            everyone = f"select pg_terminate_backend(pid) from pg_stat_activity where datname = '{template}'"
            connection.execute(everyone.encode())
            connection.execute(f"create database {name} template {template}".encode())
        return self.keywords(name)

    def ask(self, keywords: str, sql: str) -> list[tuple[object, ...]]:
        with psycopg.connect(keywords, autocommit=True) as connection:
            cursor = connection.execute(sql.encode())
            return cursor.fetchall() if cursor.description else []

    def remove(self) -> None:
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """A PostgreSQL for this process of the test run."""
    server = Postgres()
    try:
        server.start()
        yield server
    finally:
        server.remove()


@pytest.fixture(scope="session")
def lake_template(postgres: Postgres) -> Iterator[str]:
    """The name of a database with an empty store, from which others are copied: making one takes a second."""
    data = Path(tempfile.mkdtemp(prefix="lake-"))
    keywords = postgres.make_database()
    store = LakeStore(f"ducklake:postgres:{keywords} data={data}")
    with store.writing():
        pass
    let_go(store.address)
    yield keywords.rpartition("=")[2]
    shutil.rmtree(data, ignore_errors=True)


@pytest.fixture
def lake_keywords(postgres: Postgres, lake_template: str) -> str:
    """How libpq finds a database with an empty store that no other test uses."""
    return postgres.make_database(lake_template)


@pytest.fixture
def lake(lake_keywords: str) -> Iterator[LakeStore]:
    """An empty store of a team."""
    store = LakeStore(f"ducklake:postgres:{lake_keywords}", StoreSettings(wait_s=20))
    yield store
    let_go(store.address)


@pytest.fixture
def new_lake(postgres: Postgres, tmp_path: Path) -> Iterator[LakeStore]:
    """The store of a team that nobody has written to yet; its data is to lie in ``tmp_path / "data"``."""
    store = LakeStore(f"ducklake:postgres:{postgres.make_database()} data={tmp_path / 'data'}")
    yield store
    let_go(store.address)


class DaskCluster:
    """A Dask scheduler and workers with one thread each, as processes; each worker has a nanny that starts it again.

    Modules put into ``modules`` can be imported by the workers.
    """

    def __init__(self, workers: int) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="dask-"))
        self.modules = self.folder / "modules"
        self.modules.mkdir()
        self.address = f"tcp://127.0.0.1:{find_free_port()}"
        self._processes: list[subprocess.Popen[bytes]] = []
        self._environment = os.environ | {
            "PYTHONPATH": os.pathsep.join(filter(None, [str(self.modules), os.environ.get("PYTHONPATH")])),
            "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
            "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False",
        }
        self._start("scheduler", "--host", "127.0.0.1", "--port", self.address.rpartition(":")[2], "--no-dashboard",
                    "--no-show")  # fmt: skip
        for _ in range(workers):
            self.add_worker()

    def add_worker(self) -> None:
        self._start("worker", self.address, "--host", "127.0.0.1", "--nthreads", "1", "--no-dashboard",
                    "--memory-limit", "0", "--local-directory", str(self.folder))  # fmt: skip

    def _start(self, role: str, *options: str) -> None:
        command = [sys.executable, "-m", f"distributed.cli.dask_{role}", *options]
        with (self.folder / "log").open("ab") as log:
            self._processes.append(
                subprocess.Popen(command, stdout=log, stderr=log, env=self._environment, start_new_session=True)
            )

    def log(self) -> str:
        return (self.folder / "log").read_text()

    def stop(self) -> None:
        """End everything at once, as a power cut would."""
        for process in self._processes:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        self._processes.clear()

    def stop_scheduler(self) -> None:
        self._stop_one(0)

    def stop_worker(self) -> None:
        """End the worker that was added last, and its nanny."""
        self._stop_one(-1)

    def _stop_one(self, which: int) -> None:
        process = self._processes.pop(which)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def remove(self) -> None:
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def cluster() -> Iterator[DaskCluster]:
    """A scheduler and two workers for this process of the test run."""
    started = DaskCluster(workers=2)
    try:
        yield started
    finally:
        started.remove()


@pytest.fixture
def own_cluster() -> Iterator[DaskCluster]:
    """A scheduler without workers, for a test that stops it or adds workers itself."""
    started = DaskCluster(workers=0)
    try:
        yield started
    finally:
        started.remove()
