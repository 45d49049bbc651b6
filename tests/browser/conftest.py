import importlib.util
import re
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, TimeoutError, expect, sync_playwright

from tutor.app.server.middleware import COOKIE
from tutor.learner.record import Record
from tutor.store.database import Store


def _neighbour(name: str) -> ModuleType:
    """Load a module beside this one: test files are no package."""
    spec = importlib.util.spec_from_file_location(f"browser_{name}", Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


Server = _neighbour("server").Server
School = _neighbour("school").School

PATIENCE = 20.0  # seconds
expect.set_options(timeout=1000 * PATIENCE)
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
ANSWERS = re.compile("^(Check|Save) the answer$")
LOOK_EVERY = 40  # milliseconds; at every frame of the page it would keep a core busy
SETTLED = """() => {
  const idle = [...document.querySelectorAll("h1")].some(heading => heading.offsetParent)
    && document.querySelector("[data-testid=stApp][data-test-script-state=notRunning]") !== null;
  window.idleSince = idle ? window.idleSince ?? performance.now() : undefined;
  return idle && performance.now() - window.idleSince >= 100;
}"""
STILL = """() => document.fonts.status === "loaded" && document.getAnimations().every(animation =>
  animation.playState !== "running" || animation.effect.getComputedTiming().endTime === Infinity)"""
HEARD = """words => (document.querySelector("[data-testid=stMain]")?.innerText ?? "")
  .replaceAll("\u2060", "").split(/\\s+/).join(" ").includes(words)"""
SAID = "document.querySelector('[data-testid=stMain]')?.innerText"


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The one server of the run; a test that kills it takes `own_server`."""
    running = Server(tmp_path_factory.mktemp("server"))
    running.start()
    yield running
    running.kill()
    assert "Traceback" not in running.log.read_text()


@pytest.fixture
def own_server(tmp_path: Path) -> Iterator[Server]:
    running = Server(tmp_path)
    running.start()
    yield running
    running.kill()


@pytest.fixture
def listening(tmp_path: Path) -> Iterator[Server]:
    """The tutor at another address of this machine: Linux takes all of 127.0.0.0/8 for it (RFC 1122, 3.2.1.3)."""
    running = Server(tmp_path, listen="127.0.0.2")
    running.start()
    yield running
    running.kill()


@pytest.fixture(scope="module")  # no longer: its event loop would stand in the way of other files' own
def chromium(chromium_path: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def make_school(server: Server) -> Callable[..., School]:
    """A class with a set in the one server's store, whose desk has a passphrase."""

    def made(class_name: str, **how: Any) -> School:
        return School(server.store, class_name=class_name, **how)

    School.set_passphrase(server.store)
    return made


@pytest.fixture
def own_school(own_server: Server) -> School:
    """The same in the store of a test's own server."""
    School.set_passphrase(own_server.store)
    return School(own_server.store)


@pytest.fixture
def make_own_school(own_server: Server) -> Callable[..., School]:
    """make_own_school(**rules): a class whose set has such rules in the store of a test's own server."""
    return lambda **rules: School(own_server.store, **rules)


@pytest.fixture
def own_school_passphrase(own_server: Server) -> str:
    """The passphrase of the desk of a test's own server, whose store holds no class yet."""
    School.set_passphrase(own_server.store)
    return School.passphrase


@pytest.fixture
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Open an address in a fresh browser context (no cookies) and wait for the page's heading."""
    pages = []

    def opened(address: str, **look: Any) -> Page:
        pages.append(new_page(chromium, **look))
        pages[-1].goto(address)
        settled(pages[-1])
        return pages[-1]

    yield opened
    for page in pages:
        page.context.close()


def new_page(browser: Browser, *, width: int = 1100, height: int = 800, scheme: str = "light") -> Page:
    """Make a page in a browser context of its own; `page.requested` gathers what it asks for.

    `page.refused` gathers what its own content policy forbids it, `page.sockets` its connections to the server.
    """
    page = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme).new_page()
    page.requested = []
    page.on("request", lambda request: page.requested.append(request.url))
    page.refused = []
    page.sockets = []
    page.on("websocket", lambda socket: page.sockets.append(socket))  # noqa: PLW0108 - a built-in method is not taken
    page.on("console", lambda said: page.refused.append(said.text) if "Content Security Policy" in said.text else None)
    return page


def settled(page: Page) -> None:
    """Wait until the heading is there and the script run is over, and no other has begun at once after it."""
    page.wait_for_function(
        "() => { window.idleSince = undefined; return true; }"
    )  # outlives a page that goes elsewhere
    page.wait_for_function(SETTLED, polling=LOOK_EVERY)


@pytest.fixture(name="settled")
def _settled() -> Callable[[Page], None]:
    return settled


def plain(text: str) -> str:
    """Text with ordinary spaces and nothing invisible in it."""
    return " ".join(text.replace("\u2060", "").split())


class Learner:
    """A learner at a page: types, presses Enter, reads the verdict."""

    def __init__(self, page: Page) -> None:
        self.page = page

    @property
    def verdicts(self) -> list[str]:
        """The texts of the boxes that speak of an answer or a step, from the top."""
        boxes = [plain(text) for text in self.page.locator(".stAlertContainer").all_inner_texts()]
        return [text for text in boxes if text.startswith(("✔", "✖", "❔"))]

    @property
    def text(self) -> str:
        """All that the page says, beside its menu."""
        return plain(self.page.get_by_test_id("stMain").inner_text())

    @property
    def verdict(self) -> str:
        """The answer's own verdict, the last one."""
        return self.verdicts[-1] if self.verdicts else ""

    @property
    def box(self) -> Locator:
        """The box for the answer."""
        return self.page.locator("[class*=stForm]").filter(has=self.button("Check the answer")).get_by_role("textbox")

    def class_box(self, place: int | None = None) -> Locator:
        """The answer's box of class work: the last one of a form that has come to its button."""
        form = self.page.locator("[class*=stForm]").filter(has=self.button(ANSWERS))
        of_place = "" if place is None else f"[class*='-{place}-']"
        return form.locator(f"{of_place}[class*='st-key-draft-'] input").last

    def hears(self, words: str) -> bool:
        """Whether the page says something, now or within the time that a busy machine may need."""
        with suppress(TimeoutError):
            self.page.wait_for_function(HEARD, arg=words, timeout=1000 * PATIENCE, polling=LOOK_EVERY)
        return words in self.text

    def rest(self) -> None:
        """Wait until the page has run, moves nothing any more, and has its fonts."""
        settled(self.page)
        self.page.wait_for_function(STILL, polling=LOOK_EVERY)

    def go(self, address: str) -> None:
        """Open an address; what was requested before is forgotten."""
        self.page.requested.clear()
        self.page.refused.clear()
        self.page.goto(address)
        settled(self.page)

    def button(self, name: str | re.Pattern[str]) -> Locator:
        return self.page.get_by_role("button", name=name)

    def answer(self, text: str) -> str:
        """Type the answer, press Enter, and give the verdict once it has come."""
        return self.enter(self.box, text)

    def step(self, at: int, text: str) -> str:
        """Type a step, press Enter, and give the verdict on that step."""
        self.enter(self.page.get_by_role("textbox", name=f"Step {at}:"), text)
        return self.verdicts[at - 1]

    def enter(self, box: Locator, text: str) -> str:
        box.fill(text)
        with self.a_change():
            box.press("Enter")
        return self.verdict

    def press(self, name: str) -> None:
        """Press a button or a link by its name."""
        with self.a_change():
            self.button(name).or_(self.page.get_by_role("link", name=name)).first.click()

    @contextmanager
    def a_change(self) -> Iterator[None]:
        """Wait until the page says something else than before; a run as such can be over between two looks at it."""
        before = self.page.evaluate(SAID)
        yield
        self.page.wait_for_function(f"before => {SAID} !== before", arg=before, polling=LOOK_EVERY)
        settled(self.page)

    def token(self) -> str:
        (cookie,) = [one for one in self.page.context.cookies() if one["name"] == COOKIE]
        return cookie["value"]

    def entries(self, server: Server) -> list[str | None]:
        """The answers that the server's store holds of this learner, oldest first, read from the disk."""
        with closing(Store.open(server.store)) as store:
            return [attempt.entry for attempt in Record(store, self.token()).attempts() if attempt.entry is not None]


@pytest.fixture
def learner(open_page: Callable[..., Page]) -> Callable[..., Learner]:
    """Put a learner with a fresh browser before an address."""
    return lambda address, **how: Learner(open_page(address, **how))


@pytest.fixture(scope="module")
def wanderer(chromium: Browser) -> Iterator[Callable[..., Learner]]:
    """A learner with one and the same browser for all tests of a module: for what each page shows by itself."""
    known: dict[str, Learner] = {}

    def found(**look: Any) -> Learner:
        name = repr(look)
        if name not in known:
            known[name] = Learner(new_page(chromium, **look))
        return known[name]

    yield found
    for one in known.values():
        one.page.context.close()
