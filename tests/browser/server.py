"""A real tutor server in a process of its own, for tests that need a browser."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

HOST_NAME = "class.example"  # as a front proxy would have it
START = """
import sys
from tutor.app.server.serve import serve

serve(int(sys.argv[1]), False, sys.argv[2], None, [sys.argv[3]], sys.argv[4] if len(sys.argv) > 4 else None)
"""
PATIENCE = 60.0


def free_port() -> int:
    """Ask the system for a port that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


class Server:
    """The tutor on a port, with a store of its own unless one is named; it can be killed and started again on both."""

    def __init__(self, folder: Path, store: str | None = None, listen: str | None = None) -> None:
        self.port, self.listen = free_port(), listen
        self.store = store or f"sqlite:///{folder / 'tutor.sqlite'}"
        self.log = folder / f"server-{self.port}.log"
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://{self.listen or '127.0.0.1'}:{self.port}"

    def start(self) -> None:
        """Start the server and wait until it answers; if it dies or hangs, fail with its log."""
        with self.log.open("ab") as log:
            command = [sys.executable, "-c", START, str(self.port), self.store, HOST_NAME]
            command += [self.listen] if self.listen else []
            self.process = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, cwd=self.log.parent)
        deadline = time.monotonic() + PATIENCE
        while not self._healthy():
            if self.process.poll() is not None or time.monotonic() > deadline:
                self.kill()
                raise RuntimeError(f"The server did not start. Its log:\n{self.log.read_text()}")
            time.sleep(0.05)

    def kill(self) -> None:
        """End the server at once, as a crash would."""
        if self.process is not None:
            if self.process.poll() is None:
                os.kill(self.process.pid, signal.SIGKILL)
            self.process.wait(timeout=10)
            self.process = None

    def descriptors(self) -> int:
        """How many files and connections the running server has open."""
        return len(list(Path(f"/proc/{self.process.pid}/fd").iterdir()))

    def _healthy(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=2) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False
