"""A TCP proxy on this machine that can cut every connection through it, as a bad network does."""

import contextlib
import socket
import threading


class Proxy:
    """Passes bytes to a port; `cut` closes what is open and lets nothing new through until `mend`."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._whole = threading.Event()
        self._whole.set()
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        self._whole.clear()
        with self._lock:
            for side in self._open:
                with contextlib.suppress(OSError):
                    side.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        self._whole.set()

    def close(self) -> None:
        self.cut()
        self._listener.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                browser, _ = self._listener.accept()
                if not self._whole.is_set():
                    browser.close()
                    continue
                server = socket.create_connection(("127.0.0.1", self._port))
                with self._lock:
                    self._open |= {browser, server}
                for source, sink in ((browser, server), (server, browser)):
                    threading.Thread(target=self._pass_on, args=(source, sink), daemon=True).start()

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for side in (source, sink):
            with contextlib.suppress(OSError):
                side.shutdown(socket.SHUT_RDWR)
            with self._lock:
                self._open.discard(side)
