import importlib.util
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

# Test files are no package, so a neighbour is loaded by its path.
_spec = importlib.util.spec_from_file_location("browser_server", Path(__file__).with_name("server.py"))
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)
Server = _module.Server

CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The one server of the run; a test that kills it takes `own_server`."""
    running = Server(tmp_path_factory.mktemp("server"))
    running.start()
    yield running
    running.kill()


@pytest.fixture
def own_server(tmp_path: Path) -> Iterator[Server]:
    running = Server(tmp_path)
    running.start()
    yield running
    running.kill()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Open an address in a fresh browser context (no cookies) and wait for the page's heading."""
    contexts = []

    def opened(address: str, *, width: int = 1100, height: int = 800, scheme: str = "light") -> Page:
        context = chromium.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        page.requested = []
        page.on("request", lambda request: page.requested.append(request.url))
        page.goto(address)
        settled(page)
        return page

    yield opened
    for context in contexts:
        context.close()


def settled(page: Page) -> None:
    """Wait until the heading is there and the script run is over."""
    page.wait_for_selector("h1")
    page.wait_for_selector("[data-testid=stApp][data-test-script-state=notRunning]")
