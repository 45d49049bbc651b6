"""A real server for the tests that send what no page would send, and the client that sends it."""

import importlib.util
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from types import ModuleType

import pytest

from tutor.app import config, session
from tutor.classroom.desk import InstructorAuth
from tutor.store.database import Store

TESTS = Path(__file__).parents[1]
PASSPHRASE = "four words before dawn"


def _load(path: str) -> ModuleType:
    """Load a module of the tests: test files are no package."""
    name = Path(path).stem
    spec = importlib.util.spec_from_file_location(f"for_app_{name}", TESTS / path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def raw() -> ModuleType:
    """The client without a browser: `Tab`, `Web`, `handshake`."""
    return _load("raw_client.py")


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator:
    """A server of the module's own, whose desk has a passphrase; `memory()` (MB) looks at it."""
    running = _load("browser/server.py").Server(tmp_path_factory.mktemp("attacked"))
    with closing(Store.open(running.store)) as store:
        InstructorAuth(store).set_passphrase(PASSPHRASE)
    running.start()
    process = Path(f"/proc/{running.process.pid}")
    running.memory = lambda: int((process / "statm").read_text().split()[1]) * 4096 / 1e6
    yield running
    running.kill()
    assert "Traceback" not in running.log.read_text()


@pytest.fixture
def tab(raw, attacked) -> Iterator:
    """Open a page of the attacked server; what is still open is closed."""
    tabs = []

    def opened(page: str = "", query: str = "", **how):
        tabs.append(raw.Tab(attacked.port, page, query, **how))
        return tabs[-1]

    yield opened
    for one in tabs:
        one.close()


@pytest.fixture
def instructor(tab):
    """A page of the desk, inside, at a tab of it."""

    def inside(name: str):
        desk = tab("class-desk", f"tab={name}")
        (box,) = [one for one in desk.elements("text_input") if one.label == "Passphrase"]
        (button,) = [one for one in desk.elements("button") if one.label == "Enter the desk"]
        desk.run({box.id: PASSPHRASE, button.id: True})
        return desk

    return inside


@pytest.fixture
def pages_store(tmp_path, monkeypatch) -> Iterator[str]:
    """The address of the store of the pages that a test runs without a server."""
    address = str(tmp_path / "store.sqlite3")
    monkeypatch.setattr(config, "_settings", config.Settings(store=address))
    session.store.cache_clear()
    yield address
    session.store().close()
    session.store.cache_clear()
