"""The app in Chromium beside a plain Streamlit page with the same settings: ratios of medians, ours and it in turn.

Times are printed and never asserted, since they belong to the machine.
"""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

pytestmark = [pytest.mark.browser, pytest.mark.long]

QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
PATIENCE = 60
MOST = 1.5  # how many times the plain page's median ours may take
not_reached = pytest.mark.xfail(strict=False, reason=f"the goal of {MOST} is not reached yet; the ratio is printed")

PLAIN = """
import streamlit as st

def one():
    st.title("One")
    text = st.text_input("Entry")
    if text:
        st.success(f"Typed: {text}")

def two():
    st.title("Two")

st.navigation([st.Page(one, title="One", default=True), st.Page(two, title="Two")]).run()
"""
PLAIN_START = """
import sys
import streamlit as st
from tutor.app.server.serve import OPTIONS
st.App(sys.argv[1]).run(config={**OPTIONS, "server.port": int(sys.argv[2])})
"""
OUR_START = """
import sys
from tutor.cli import main
main(["--no-browser", "--store", sys.argv[1], "--port", sys.argv[2]])
"""
PROBLEM = "/practice?exercise=most-modules-in-series&number=1"

# Watches from the next click or Enter until `text` of the selector's element has changed and is painted.
WATCH = """
selector => {
  const text = () => document.querySelector(selector)?.innerText;
  const before = text();
  window.took = new Promise((done) => {
    const begin = (event) => {
      if (event.type === "keydown" && event.key !== "Enter") return;
      for (const type of ["click", "keydown"]) window.removeEventListener(type, begin, true);
      const began = performance.now();
      const look = () => {
        const now = text();
        if (now !== undefined && now !== before) done(performance.now() - began);
        else requestAnimationFrame(look);
      };
      look();
    };
    for (const type of ["click", "keydown"]) window.addEventListener(type, begin, true);
  });
}
"""


class Served:
    """A server in a process of its own: started, waited for, and killed by its process id."""

    def __init__(self, script: str, argument: Path, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.log = folder / f"{self.port}.log"
        with self.log.open("wb") as log:
            command = [sys.executable, "-c", script, str(argument), str(self.port)]
            self.process = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, cwd=folder)

    def wait(self) -> None:
        deadline = time.monotonic() + PATIENCE
        while not self.answers():
            assert self.process.poll() is None, self.log.read_text()
            assert time.monotonic() < deadline, self.log.read_text()
            time.sleep(0.01)

    def answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=2) as answer:
                return answer.status == 200
        except (urllib.error.URLError, OSError):
            return False

    def kill(self) -> None:
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=10)


@pytest.fixture(scope="module")
def chromium(chromium_path) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def start(tmp_path_factory) -> Callable[[str], Served]:
    """Starts our tutor ("ours") or the plain page ("plain")."""
    folder = tmp_path_factory.mktemp("speed")
    plain = folder / "plain.py"
    plain.write_text(PLAIN)

    def started(which: str) -> Served:
        if which == "ours":
            return Served(OUR_START, folder / f"{time.monotonic_ns()}.sqlite3", folder)
        return Served(PLAIN_START, plain, folder)

    return started


@pytest.fixture(scope="module")
def both(start, chromium) -> Iterator[dict[str, str]]:
    """The addresses of both, warmed up by one visit of each page that is measured."""
    running = {which: start(which) for which in ("ours", "plain")}
    for which, served in running.items():
        served.wait()
        for path in ("/", PROBLEM if which == "ours" else "/two"):
            with_page(chromium, lambda page, url=served.address + path: opened(page, url))
    yield {which: served.address for which, served in running.items()}
    for served in running.values():
        served.kill()


def with_page(chromium: Browser, work: Callable[[Page], float]) -> float:
    """Do some work on a page of a browser context of its own, with an empty cache."""
    context = chromium.new_context(viewport={"width": 1100, "height": 800})
    try:
        return work(context.new_page())
    finally:
        context.close()


def opened(page: Page, url: str, sign: str = "h1") -> float:
    """Go to an address; the seconds until the sign is visible."""
    began = time.perf_counter()
    page.goto(url, wait_until="commit")
    page.wait_for_selector(sign)
    return time.perf_counter() - began


def settled(page: Page) -> None:
    page.wait_for_selector("h1")
    page.wait_for_selector("[data-testid=stApp][data-test-script-state=notRunning]")


def took(page: Page, selector: str, act: Callable[[], None]) -> float:
    """The seconds from a click or Enter to the changed text, by the browser's own clock."""
    page.bring_to_front()  # a page in the background is painted once a second
    page.evaluate(WATCH, selector)
    act()
    seconds = page.evaluate("window.took") / 1000
    settled(page)
    return seconds


def ratio_of(what: str, ours: list[float], plain: list[float], record_property) -> float:
    ratio = median(ours) / median(plain)
    print(f"\n{what}: {ratio:.2f} times the plain page ({1000 * median(ours):.0f} / {1000 * median(plain):.0f} ms)")
    record_property(f"{what} ratio", ratio)
    return ratio


def test_first_paint(both, chromium, record_property):
    times: dict[str, list[float]] = {"ours": [], "plain": []}
    for _ in range(5):
        for which, address in both.items():
            times[which].append(with_page(chromium, lambda page, url=address: opened(page, url)))
    assert ratio_of("first paint", times["ours"], times["plain"], record_property) <= MOST


@not_reached
def test_page_switch(both, chromium, record_property):
    times: dict[str, list[float]] = {"ours": [], "plain": []}
    names = {"ours": ("Tables", "Progress", "Practice", "Start"), "plain": ("Two", "One", "Two", "One")}
    context = chromium.new_context(viewport={"width": 1100, "height": 800})
    pages = {which: context.new_page() for which in both}
    for which, page in pages.items():
        opened(page, both[which])
        settled(page)
    for turn in range(6):
        for at in range(4):
            for which, page in pages.items():
                link = page.get_by_test_id("stSidebarNav").get_by_role("link", name=names[which][at], exact=True)
                seconds = took(page, "h1", link.click)
                if turn:  # the first turn warms up
                    times[which].append(seconds)
    context.close()
    assert ratio_of("page switch", times["ours"], times["plain"], record_property) <= MOST


@not_reached
def test_verdict_after_enter(both, chromium, record_property):
    times: dict[str, list[float]] = {"ours": [], "plain": []}
    context = chromium.new_context(viewport={"width": 1100, "height": 800})
    pages = {which: context.new_page() for which in both}
    for which, page in pages.items():
        opened(page, both[which] + (PROBLEM if which == "ours" else "/"))
        settled(page)
    for turn in range(20):
        for which, page in pages.items():
            box = page.get_by_role("textbox", name="Number of modules in series" if which == "ours" else "Entry").first
            box.fill(str(101 + turn))
            seconds = took(page, ".stAlertContainer", lambda box=box: box.press("Enter"))
            if turn > 4:
                times[which].append(seconds)
    context.close()
    assert ratio_of("verdict after Enter", times["ours"], times["plain"], record_property) <= MOST


@not_reached
def test_cold_start(start, chromium, record_property):
    """From the command to the first problem's givens readable, against the plain page's heading."""
    times: dict[str, list[float]] = {"ours": [], "plain": []}
    for turn in range(4):
        for which, path, sign in (("ours", PROBLEM, "table"), ("plain", "/", "h1")):
            began = time.perf_counter()
            served = start(which)
            try:
                served.wait()
                with_page(chromium, lambda page, url=served.address + path, sign=sign: opened(page, url, sign))
                if turn:
                    times[which].append(time.perf_counter() - began)
            finally:
                served.kill()
    assert ratio_of("cold start", times["ours"], times["plain"], record_property) <= MOST
