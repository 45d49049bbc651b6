"""Starts the tutor's server: its settings, its warm-up, its one line of welcome, and the browser."""

import asyncio
import errno
import gc
import importlib
import logging
import os
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from ipaddress import AddressValueError, IPv4Address, ip_address
from pathlib import Path
from typing import Any

import click
import streamlit as st
from starlette.middleware import Middleware
from streamlit.runtime import Runtime, RuntimeConfig, get_instance
from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage
from streamlit.runtime.memory_session_storage import MemorySessionStorage
from streamlit.web.cache_storage_manager_config import create_default_cache_storage_manager

from tutor.app import config
from tutor.app.components import class_drafts, scripts, theme
from tutor.app.config import STORE_FAILED, Settings
from tutor.app.server import downloads, health, renewing
from tutor.app.server.middleware import BROWSER, Door, LearnerCookie, SecurityHeaders, SessionOwner
from tutor.app.server.uploads import UPLOADS, UploadsAskedFor
from tutor.base.errors import FaultyRequestError
from tutor.base.text import visible
from tutor.classroom.addresses import origin_named, origin_served
from tutor.classroom.desk import InstructorAuth
from tutor.store.database import Store, StoreError

ADDRESS = "127.0.0.1"
DEFAULT_PORT = 8765
PORTS_TRIED = 50
MAIN = Path(__file__).parents[1] / "main.py"
# Imported in a thread while the browser loads: the server answers a second earlier than after importing them first, and
# the first page comes no later (measured on two cores).
HEAVY_MODULES = ("schemdraw", "plotly.graph_objects")

OPEN_TO_THE_NETWORK = (
    "Every device in this network can open it, and what passes between them is not encrypted: use it in a network that "
    "you trust, or put the tutor behind a front proxy with a certificate."
)
EMPTY_STORE = (
    "Work is kept in an empty store: {place}. If there should be earlier work, stop the tutor and name its place "
    "with --store."
)
SWEPT_EVERY = 5.0  # seconds; what a closed page leaves behind is freed soon after

OPTIONS: dict[str, Any] = {
    "browser.gatherUsageStats": False,
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "client.toolbarMode": "minimal",
    "logger.hideWelcomeMessage": True,
    "runner.magicEnabled": False,
    # A full collection after every script run costs more than the run; instead the heap is frozen after the imports.
    "runner.postScriptGC": False,
    "server.address": ADDRESS,
    "server.allowedHosts": [ADDRESS, "localhost"],
    "server.fileWatcherType": "none",
    "server.headless": True,
    "server.maxUploadSize": 1,
    # MB. The longest text of a page, a working, has 12,000 signs; what browsers send is kept in memory as a whole.
    "server.maxWidgetStateSize": 1,
    "server.maxMessageSize": 10,
    "server.websocketPingInterval": 15,  # who is gone without a word is noticed within twice that
    "server.trustedUserHeaders": {BROWSER: "browser"},
}


class PortTakenError(FaultyRequestError, OSError):
    """The port that was asked for, or every port of the usual range, is in use."""


class AddressError(FaultyRequestError, ValueError):
    """An address that is none of this machine's, or that stands for all of them."""


class App(st.App):
    """The framework's application with our own keeping of files, and an end to what closed pages leave behind."""

    def _create_runtime(self) -> Runtime:
        self.closed = MemorySessionStorage()  # sessions whose page has gone but may come back
        return Runtime(
            RuntimeConfig(
                script_path=str(MAIN),
                media_file_storage=MemoryMediaFileStorage("/media"),
                uploaded_file_manager=UPLOADS,
                cache_storage_manager=create_default_cache_storage_manager(),
                session_storage=self.closed,
                on_script_error=tell_store_error,
            )
        )

    async def sweep(self) -> None:
        """Free the files of closed pages, and the file descriptors that each session holds for an event loop.

        The framework makes another loop if the page comes back; `list` drops the sessions whose time is over, which
        would else stay until the next page is opened.
        """
        while True:
            await asyncio.sleep(SWEPT_EVERY)
            UPLOADS.free_closed(get_instance().is_active_session)
            for closed in self.closed.list():
                if closed.session._scriptrunner is None:
                    closed.session._script_event_loop.close()


def serve(
    port: int | None,
    browser: bool,
    store: str | None,
    content: Path | None,
    host_names: Sequence[str] = (),
    listen: str | None = None,
    address: str | None = None,
) -> None:
    """Serve the tutor until it is stopped; `port` None takes the usual one or the next that is free.

    `host_names` are those by which a front proxy is reached, beside this machine's own; `listen` is the IPv4 address by
    which other devices reach this machine, None for this machine alone; `address` is the web address that learners
    open, to be printed, if it is another one than these say.
    Raises PortTakenError if the port is in use, AddressError for an address that is not this machine's, ClassError for
    a web address that learners cannot open, StoreError or ContentError if those cannot be opened.
    """
    host = ADDRESS if listen is None else own_address(listen)
    named = "" if address is None else origin_named(address)
    if content is not None:  # before the store is open: another process proves the content
        from tutor.problems.proving import load_proved  # noqa: PLC0415 - sympy is loaded later, while the server answers

        load_proved(content)
    opened = Store.open(store)
    code = _set_up_code(opened)
    free = free_port(port, host)
    os.environ.setdefault("FORWARDED_ALLOW_IPS", forwarders(host, host_names))
    config.begin_with(Settings(store, content, named, origin_served(host, free, host_names), opened))
    config.tokens()  # read once, so that a request never waits for the store to know its browser
    address_served = f"http://{host}:{free}"
    note = f" (port {DEFAULT_PORT} is in use)" if port is None and free != DEFAULT_PORT else ""
    click.echo(f"Cold Morning is at {address_served}{note}. Stop it with Ctrl+C.")
    if opened.is_empty():
        click.echo(EMPTY_STORE.format(place=visible(opened.place)))
    if not ip_address(host).is_loopback:
        click.echo(OPEN_TO_THE_NETWORK)
    if code:
        click.echo(f"The class desk has no passphrase yet. Its set-up code, for a day: {code}")

    @asynccontextmanager
    async def lifespan(_app: st.App) -> AsyncIterator[None]:
        sweeping = asyncio.create_task(app.sweep())
        threading.Thread(target=warm, name="warm", daemon=True).start()
        if browser:
            threading.Timer(0.2, webbrowser.open, [address_served]).start()
        yield
        sweeping.cancel()

    app = App(
        MAIN,
        lifespan=lifespan,
        routes=[
            class_drafts.ROUTE,
            downloads.ROUTE,
            health.ROUTE,
            renewing.ROUTE,
            *scripts.ROUTES,
        ],
        middleware=[
            Middleware(SecurityHeaders),
            Middleware(Door, program=str(MAIN)),
            Middleware(LearnerCookie, tokens=config.tokens),
            Middleware(SessionOwner, tokens=config.tokens),
            Middleware(UploadsAskedFor),
        ],
    )
    reached = {
        "server.address": host,
        "server.port": free,
        "server.allowedHosts": [*OPTIONS["server.allowedHosts"], host, *host_names],
    }
    # The log would be warned of each page that comes back after `sweep` has closed its loop.
    sessions_log = logging.getLogger("streamlit.runtime.app_session")
    sessions_log.addFilter(lambda record: "event loop is closed" not in str(record.msg))
    with suppress(KeyboardInterrupt):
        app.run(config={**OPTIONS, **theme.options(), **reached})


def forwarders(host: str, host_names: Sequence[str]) -> str:
    """Who may say in X-Forwarded-For whence a request comes: the front proxy on this machine; nobody without one."""
    return f"{ADDRESS},::1,{host}" if host_names else ""


def tell_store_error(error: Exception) -> bool:
    """Tell a learner that the store does not answer, and offer to go on; Streamlit logs the error and shows others."""
    if not isinstance(error, StoreError):
        return False
    st.error(error.page or STORE_FAILED)
    st.button("Try again", type="primary")
    return True


def _set_up_code(store: Store) -> str:
    """A code for the first passphrase of the class desk; '' if there is a passphrase."""
    desk = InstructorAuth(store)
    return "" if desk.has_passphrase() else desk.new_set_up_code()


def warm() -> None:
    """Load what the pages need, the first problem too, then take it all out of the collector's sight for good."""
    session = importlib.import_module("tutor.app.session")
    first = next(iter(session.library().exercises))
    importlib.import_module("tutor.answers.marking").mark(session.problem(first, None, 1, "us"), "1")
    for name in HEAVY_MODULES:
        importlib.import_module(name)
    gc.collect()
    gc.freeze()


def own_address(text: str) -> str:
    """One IPv4 address of this machine.

    Raises AddressError for any other text.
    """
    advice = "Give this machine's own in the network, such as 192.0.2.20."
    try:
        address = IPv4Address(text.strip())
        if address.is_unspecified:
            raise AddressError(f"{address} stands for every network that this machine is in. {advice}")
        with socket.socket() as probe:
            probe.bind((str(address), 0))
    except (AddressValueError, OSError):
        raise AddressError(f"'{text[:40]}' is no IPv4 address of this machine. {advice}") from None
    return str(address)


def free_port(port: int | None, host: str = ADDRESS) -> int:
    """Return the port asked for, or the first free one of the usual range.

    Raises PortTakenError if none can be had.
    """
    candidates = range(DEFAULT_PORT, DEFAULT_PORT + PORTS_TRIED) if port is None else [port]
    for candidate in candidates:
        if _is_free(candidate, host):
            return candidate
    if port is None:
        raise PortTakenError(
            f"No port from {DEFAULT_PORT} to {DEFAULT_PORT + PORTS_TRIED - 1} is free. Name another one with --port."
        )
    raise PortTakenError(f"Port {port} is in use. Name another one with --port, or leave --port out.")


def _is_free(port: int, host: str) -> bool:
    with socket.socket() as probe:
        if os.name != "nt":  # on Windows the option would let two live servers share the port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            if error.errno in {errno.EADDRINUSE, errno.EACCES}:
                return False
            raise
    return True
