"""A front proxy on this machine that sends each learner to the same one of several servers while that one is there."""

import contextlib
import re
import socket
import threading
import zlib
from collections.abc import Callable

HEAD_END = b"\r\n\r\n"


class StickyProxy:
    """Chooses a server by the learner's cookie at each connection, and the next one if that one does not answer.

    `chosen` lists whose connection went to which port. A connection carries one request or one websocket, as the choice
    is made once for it.
    """

    def __init__(self, ports: list[int], learner_of: Callable[[str], str | None]) -> None:
        self._ports, self._learner_of = ports, learner_of
        self._out: set[int] = set()
        self._open: dict[socket.socket, int] = {}
        self._lock = threading.Lock()
        self.chosen: list[tuple[str, int]] = []
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        self.port: int = self._listener.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        threading.Thread(target=self._accept, daemon=True).start()

    def take_out(self, port: int) -> None:
        """Send nobody to a server any more, and cut the connections to it."""
        self._out.add(port)
        with self._lock:
            for side, its in self._open.items():
                if its == port:
                    with contextlib.suppress(OSError):
                        side.shutdown(socket.SHUT_RDWR)

    def bring_back(self, port: int) -> None:
        self._out.discard(port)

    def close(self) -> None:
        for port in self._ports:
            self.take_out(port)
        self._listener.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                browser, _ = self._listener.accept()
                threading.Thread(target=self._serve, args=(browser,), daemon=True).start()

    def _serve(self, browser: socket.socket) -> None:
        data = b""
        with contextlib.suppress(OSError):
            while HEAD_END not in data:
                more = browser.recv(65536)
                if not more:
                    break
                data += more
        head, end, body = data.partition(HEAD_END)
        found = self._connected(head.decode("latin-1")) if end else None
        if found is None:
            browser.close()
            return
        server, port = found
        if not re.search(rb"(?im)^upgrade:", head):
            head = re.sub(rb"(?im)^connection:.*\r\n", b"", head) + b"\r\nConnection: close"
        with self._lock:
            self._open |= {browser: port, server: port}
        threading.Thread(target=self._pass_on, args=(server, browser), daemon=True).start()
        with contextlib.suppress(OSError):
            server.sendall(head + HEAD_END + body)
        self._pass_on(browser, server)

    def _connected(self, head: str) -> tuple[socket.socket, int] | None:
        learner = self._learner_of(head) or ""
        first = zlib.crc32(learner.encode()) % len(self._ports)
        for port in self._ports[first:] + self._ports[:first]:
            if port in self._out:
                continue
            with contextlib.suppress(OSError):
                server = socket.create_connection(("127.0.0.1", port))
                self.chosen.append((learner, port))
                return server, port
        return None

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for side in (source, sink):
            with contextlib.suppress(OSError):
                side.shutdown(socket.SHUT_RDWR)
            with self._lock:
                self._open.pop(side, None)
