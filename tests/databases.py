"""Both databases that a store can be in: a file, and a PostgreSQL server where its programs are installed."""

import os
import pwd
import re
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import NoReturn

import pytest
from pytest_postgresql.janitor import DatabaseJanitor

_numbers = count(1)


class Server:
    """A PostgreSQL server of our own in a folder of its own; it goes on when it is stopped and started again.

    It refuses to run as root: then an unprivileged user runs it. fsync is off: a test ends the server, never the
    computer.
    """

    def __init__(self, programs: Path) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="coldmorning-postgresql-", dir="/tmp"))
        self._as_user: list[str] = []
        if os.geteuid() == 0:
            user = _unprivileged()
            os.chown(self._folder, user.pw_uid, user.pw_gid)
            self._as_user = ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"]
        self._pg_ctl = str(programs / "pg_ctl")
        self.port = _free_port()
        self._run("initdb", "-o", "--username=postgres --auth=trust --encoding=UTF8 --locale=C --no-sync")
        self.start()

    def start(self) -> None:
        settings = f"-F -p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories="
        self._run("start", "-w", "-o", settings, "-l", str(self._folder / "log"))

    def stop(self, how: str = "immediate") -> None:
        """Stop the server: "immediate" is as hard as a crash, "fast" breaks off what is under way in good order."""
        self._run("stop", "-w", "-m", how)

    def remove(self) -> None:
        self.stop()
        shutil.rmtree(self._folder)

    @contextmanager
    def database(self) -> Iterator[str]:
        """Make an empty database, give its URL, and drop it."""
        name = f"test_{os.getpid()}_{next(_numbers)}"
        with DatabaseJanitor(user="postgres", host="127.0.0.1", port=self.port, dbname=name):
            yield f"postgresql://postgres@127.0.0.1:{self.port}/{name}"

    def _run(self, what: str, *options: str) -> None:
        command = [*self._as_user, self._pg_ctl, what, "-D", str(self._folder / "data"), *options]
        # pg_ctl hands its output on to the server, which would hold a pipe open
        with (self._folder / "pg_ctl.log").open("ab") as log:
            done = subprocess.run(
                command, cwd=self._folder, stdin=subprocess.DEVNULL, stdout=log, stderr=log, timeout=60, check=False
            )
        if done.returncode:
            logs = [path.read_text() for path in sorted(self._folder.glob("*log"))]
            raise RuntimeError("\n".join([f"pg_ctl {what} failed.", *logs]))


def _unprivileged() -> pwd.struct_passwd:
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise RuntimeError("there is no user 'postgres' or 'nobody' who could run the PostgreSQL server")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def _programs() -> Path | None:
    """The folder of the newest PostgreSQL server's programs: in Debian's place, else on the PATH."""
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/pg_ctl")]
    if on_path := shutil.which("pg_ctl"):
        found.append(Path(on_path).resolve().parent)
    return max(found, key=_version, default=None)


def _version(folder: Path) -> int:
    said = subprocess.run([folder / "pg_ctl", "--version"], capture_output=True, text=True, check=True).stdout
    return int(re.search(r"\(PostgreSQL\) (\d+)", said)[1])


def leave_out(reason: str) -> NoReturn:
    """Skip a test at a desk that lacks a program; in continuous integration, which has them all, fail."""
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[Server]:
    """The one PostgreSQL server of the run; see `leave_out` for a machine without its programs."""
    programs = _programs()
    if programs is None:
        leave_out("PostgreSQL's server programs are not installed (Debian: apt-get install postgresql)")
    server = Server(programs)
    yield server
    server.remove()


@pytest.fixture(params=["sqlite", "postgresql"])
def store_address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a store that is not there yet, in each database."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'store.sqlite3'}"
    else:
        with request.getfixturevalue("postgresql_server").database() as url:
            yield url
