"""A PostgreSQL server of the tests' own: in a temporary folder, on a socket there, without TCP, as user postgres."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any

from webapp.store.store import Store

USER, PASSWORD = "postgres", "word-of-the-tests"


def programs() -> Path | None:
    """The folder with initdb and postgres; None where this machine has none. Debian keeps them out of PATH."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    held = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    return held[-1].parent if held else None


class SmallPostgres:
    """One server; it refuses to run as root, so where the tests are root's it runs as user postgres."""

    def __init__(self, programs: Path) -> None:
        self._programs = programs
        self.folder = Path(tempfile.mkdtemp(prefix="sfn-pg-", dir="/tmp"))  # a socket's path may have 107 characters
        self._as = []
        if os.geteuid() == 0:
            self._as = ["setpriv", "--reuid", USER, "--regid", USER, "--clear-groups", "--pdeathsig", "TERM"]
            shutil.chown(self.folder, USER, USER)
        word = self.folder / "word"
        word.write_text(PASSWORD, encoding="utf-8")
        made = [str(programs / "initdb"), "-D", str(self._data), "-U", USER, "-A", "scram-sha-256", "--no-sync"]
        made += ["--pwfile", str(word), "-E", "UTF8", "--locale=C"]
        subprocess.run([*self._as, *made], check=True, capture_output=True, cwd="/")
        self._process: subprocess.Popen[bytes] | None = None
        self._made_n = 0
        self.start()
        self._do("create database model")
        Store(self.url("model")).close()

    @property
    def _data(self) -> Path:
        return self.folder / "data"

    def url(self, name: str, *, password: str = PASSWORD) -> str:
        """The address of a database on it."""
        return f"postgresql://{USER}:{password}@/{name}?host={self.folder}"

    def start(self) -> None:
        """Start it, and wait until it answers."""
        asked = {
            "listen_addresses": "", "unix_socket_directories": self.folder, "fsync": "off", "full_page_writes": "off",
            "max_connections": 80, "shared_buffers": "32MB", "max_wal_size": "256MB",
        }  # fmt: skip
        told = [word for name, value in asked.items() for word in ("-c", f"{name}={value}")]
        with (self.folder / "log").open("ab") as log:
            command = [*self._as, str(self._programs / "postgres"), "-D", str(self._data), *told]
            self._process = subprocess.Popen(command, stdout=log, stderr=log, cwd="/")
        ends = time.monotonic() + 60
        while not self._answers():
            assert self._process.poll() is None, (self.folder / "log").read_text(encoding="utf-8")
            assert time.monotonic() < ends, "PostgreSQL did not start within a minute"
            time.sleep(0.05)

    def stop(self) -> None:
        """Stop it at once: every connection is cut (its "fast" way)."""
        if self._process is not None:
            self._process.send_signal(2)
            self._process.wait(60)
            self._process = None

    def end(self) -> None:
        """Stop it for good."""
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def database(self) -> AbstractContextManager[str]:
        """A database of its own with our tables, copied from one that was made once; gives its address."""
        return self._made("template model")

    def empty(self) -> AbstractContextManager[str]:
        """The same without any table."""
        return self._made("")

    @contextmanager
    def _made(self, of: str) -> Iterator[str]:
        self._made_n += 1
        name = f"t{self._made_n}"
        self._do(f"create database {name} {of}")
        try:
            yield self.url(name)
        finally:
            self._do(f"drop database if exists {name} with (force)")

    def _answers(self) -> bool:
        import psycopg

        with suppress(psycopg.OperationalError):
            self.behind("postgres").close()
            return True
        return False

    def _do(self, statement: str) -> None:
        """Something that no transaction may hold."""
        with self.behind("postgres") as connection:
            connection.execute(statement)

    def behind(self, name: str) -> Any:
        """A connection of psycopg's own to a database, past the program."""
        import psycopg

        return psycopg.connect(host=str(self.folder), user=USER, password=PASSWORD, dbname=name, autocommit=True)


LEFT_OUT = "no PostgreSQL on this machine"
