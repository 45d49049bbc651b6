"""A client of the tutor's server without a browser: what somebody can send who writes their own."""

import base64
import http.client
import os
import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from types import MappingProxyType

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from tutor.app.server.middleware import COOKIE

XSRF = "_streamlit_xsrf"
PATIENCE = 20.0


@dataclass
class Reply:
    """An answer by HTTP."""

    status: int
    headers: dict[str, str]
    body: bytes


class Web:
    """Requests by HTTP to one port, with a learner's cookie unless it is None."""

    def __init__(self, port: int, token: str | None) -> None:
        self.port, self.cookies = port, {} if token is None else {COOKIE: token}

    def ask(self, path: str, method: str = "GET", body: bytes | None = None, **headers: str) -> Reply:
        """Send one request; header names are written with `_` for `-`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.cookies:
            sent.setdefault("cookie", "; ".join(f"{name}={value}" for name, value in self.cookies.items()))
        connection.putrequest(method, path, skip_host="host" in sent)
        for name, value in sent.items():
            connection.putheader(name, value)
        if body is not None and "transfer-encoding" not in sent:
            connection.putheader("content-length", str(len(body)))
        connection.endheaders(body, encode_chunked="transfer-encoding" in sent)
        answer = connection.getresponse()
        reply = Reply(answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read())
        connection.close()
        return reply

    def upload(self, address: str, data: bytes, name: str = "file.csv", **headers: str) -> Reply:
        """Send a file to an upload's address, as the page's script does."""
        if XSRF not in self.cookies:
            given = self.ask("/_stcore/health").headers["set-cookie"]
            self.cookies[XSRF] = given.split(";")[0].removeprefix(f"{XSRF}=")
        edge = "edge-of-the-form"
        head = f'--{edge}\r\nContent-Disposition: form-data; name="f"; filename="{name}"\r\n\r\n'
        body = head.encode() + data + f"\r\n--{edge}--\r\n".encode()
        sent = {"x_xsrftoken": self.cookies[XSRF], "content_type": f"multipart/form-data; boundary={edge}"} | headers
        return self.ask(address, "PUT", body, **sent)


@dataclass
class Tab(Web):
    """A page's session: its websocket, and all that it was sent."""

    port: int
    page: str = ""
    query: str = ""
    token: str | None = ""  # None without a cookie; else the server gives one
    origin: str | None = None
    reopen: str = ""  # a session's id, to be gone on with
    forwarded: str = ""  # the address that a front proxy would say it comes from

    def __post_init__(self) -> None:
        if self.token == "":
            given = Web(self.port, None).ask("/").headers["set-cookie"]
            self.token = given.split(";")[0].removeprefix(f"{COOKIE}=")
        super().__init__(self.port, self.token)
        self.received: list[ForwardMsg] = []
        headers = {"Cookie": f"{COOKIE}={self.token}"} if self.token else {}
        headers |= {"X-Forwarded-For": self.forwarded} if self.forwarded else {}
        self._socket = connect(
            f"ws://127.0.0.1:{self.port}/_stcore/stream",
            origin=self.origin or f"http://127.0.0.1:{self.port}",
            additional_headers=headers,
            subprotocols=["streamlit", "no-token", self.reopen] if self.reopen else ["streamlit"],
            max_size=None,
            open_timeout=PATIENCE,
            compression=None,
        ).__enter__()
        self.run()

    def run(self, widgets: Mapping[str, object] = MappingProxyType({})) -> None:
        """Have the page run, with values of widgets by their ids (text, file, True for a button), until it is over."""
        message = BackMsg()
        message.rerun_script.page_name = self.page
        message.rerun_script.query_string = self.query
        for id_, value in widgets.items():
            state = message.rerun_script.widget_states.widgets.add(id=id_)
            if value is True:
                state.trigger_value = True
            elif isinstance(value, str):
                state.string_value = value
            else:
                state.file_uploader_state_value.CopyFrom(value)
        self.send(message)
        self.wait(lambda one: one.WhichOneof("type") == "script_finished" and one.script_finished in (0, 3))

    def send(self, message: BackMsg) -> None:
        self._socket.send(message.SerializeToString())

    def wait(self, wanted) -> ForwardMsg:
        """Receive until a message is the wanted one."""
        deadline = time.monotonic() + PATIENCE
        while True:
            data = self._socket.recv(timeout=max(0.0, deadline - time.monotonic()))
            self.received.append(ForwardMsg.FromString(data))
            if wanted(self.received[-1]):
                return self.received[-1]

    def listen(self, seconds: float) -> None:
        """Receive whatever comes in the next seconds."""
        with suppress(TimeoutError, ConnectionClosed):
            deadline = time.monotonic() + seconds
            while True:
                data = self._socket.recv(timeout=max(0.0, deadline - time.monotonic()))
                self.received.append(ForwardMsg.FromString(data))

    @property
    def session(self) -> str:
        """The session's id, as the server told it."""
        return next(
            one.new_session.initialize.session_id for one in self.received if one.WhichOneof("type") == "new_session"
        )

    def elements(self, kind: str) -> list:
        """The elements of a kind that the page was sent, oldest first."""
        new = [one.delta.new_element for one in self.received if one.WhichOneof("type") == "delta"]
        return [getattr(one, kind) for one in new if one.WhichOneof("type") == kind]

    def text(self) -> str:
        """Everything that the page was sent, as it is written."""
        return "\n".join(str(one) for one in self.received)

    def upload_addresses(self, names: list[str]) -> list[tuple[str, str]]:
        """Ask for addresses to send files to: (id, address) of each."""
        message = BackMsg()
        message.file_urls_request.request_id = "request"
        message.file_urls_request.file_names.extend(names)
        message.file_urls_request.session_id = self.session
        self.send(message)
        told = self.wait(lambda one: one.WhichOneof("type") == "file_urls_response").file_urls_response
        return [(one.file_id, one.upload_url) for one in told.file_urls]

    def close(self) -> None:
        """Close the page."""
        self._socket.close()

    def drop(self) -> None:
        """Vanish without a word of the protocol."""
        self._socket.socket.shutdown(socket.SHUT_RDWR)


def handshake(port: int, **headers: str) -> tuple[socket.socket, int]:
    """Open a websocket by hand; give the socket and the status of the answer."""
    one = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)
    sent = {
        "host": f"127.0.0.1:{port}",
        "upgrade": "websocket",
        "connection": "Upgrade",
        "sec-websocket-key": base64.b64encode(os.urandom(16)).decode(),
        "sec-websocket-version": "13",
        "sec-websocket-protocol": "streamlit",
    } | headers
    lines = "".join(f"{name}: {value}\r\n" for name, value in sent.items())
    one.sendall(f"GET /_stcore/stream HTTP/1.1\r\n{lines}\r\n".encode())
    return one, int(one.recv(4096).split()[1])
