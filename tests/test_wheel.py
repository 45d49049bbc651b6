"""The built wheel: what it holds, and that it works from a folder that has nothing to do with the source."""

import importlib.util
import json
import os
import signal
import site
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import venv
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PATIENCE = 60


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel, built of a copy of the tracked and new files, with the build backend of this environment or pip's."""
    source = tmp_path_factory.mktemp("source")
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout.split(b"\0")
    for name in filter(None, map(os.fsdecode, listed)):
        if (ROOT / name).is_file():
            copy = source / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes((ROOT / name).read_bytes())
    built = tmp_path_factory.mktemp("wheel")
    here = ["--no-build-isolation"] if importlib.util.find_spec("hatchling") else []
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", *here, "--wheel-dir", built, source]
    subprocess.run(command, check=True, timeout=300)
    (found,) = built.glob("coldmorning-*.whl")
    return found


@pytest.fixture(scope="module")
def elsewhere(wheel, tmp_path_factory) -> Path:
    """A folder with an environment that has the wheel; the libraries are this environment's own."""
    folder = tmp_path_factory.mktemp("elsewhere")
    venv.create(folder / "env", with_pip=False)
    (packages,) = (folder / "env").glob("lib/python*/site-packages")
    with zipfile.ZipFile(wheel) as packed:
        entries = packed.read(next(name for name in packed.namelist() if name.endswith("entry_points.txt"))).decode()
    assert "coldmorning = tutor.cli:main" in entries
    installed = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", packages, wheel]
    subprocess.run(installed, check=True, timeout=300)
    # Named last and without their .pth files, so that an editable copy of the tutor is not found through them.
    (packages / "libraries.pth").write_text("\n".join(site.getsitepackages()))
    return folder


def command(elsewhere: Path, *arguments: str) -> list[str]:
    start = "import sys; from tutor.cli import main; main(sys.argv[1:])"
    return [str(elsewhere / "env/bin/python"), "-c", start, *arguments]


def run(elsewhere: Path, *arguments: str) -> str:
    done = subprocess.run(
        command(elsewhere, *arguments), cwd=elsewhere, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def shipped(kind: str) -> set[str]:
    return {str(path.relative_to(ROOT)) for path in (ROOT / kind).rglob("*") if path.is_file()}


@pytest.mark.parametrize("kind", ["lessons", "exercises", "assets"])
def test_the_content_travels_in_the_wheel(wheel, kind):
    names = set(zipfile.ZipFile(wheel).namelist())
    assert shipped(kind)
    assert {f"tutor/shipped/{name}" for name in shipped(kind)} <= names


def test_every_file_of_the_package_travels_in_the_wheel(wheel):
    """Modules, grammars, migrations with their template, page scripts."""
    names = set(zipfile.ZipFile(wheel).namelist())
    wanted = {name for name in shipped("tutor") if "__pycache__" not in name and "/shipped/" not in name}
    assert {Path(name).suffix for name in wanted} >= {".py", ".lark", ".mako", ".js", ".css"}
    assert wanted <= names


def test_the_commands_work_from_an_unrelated_folder(elsewhere):
    where = subprocess.run(
        [elsewhere / "env/bin/python", "-c", "import tutor; print(tutor.__file__)"],
        cwd=elsewhere,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert where.startswith(str(elsewhere))
    listed = json.loads(run(elsewhere, "exercises", "--json"))
    assert "most-modules-in-series" in {exercise["id"] for exercise in listed}
    told = json.loads(
        run(
            elsewhere,
            *["problem", "most-modules-in-series", "--solution", "--json"],
            *["--given", "module_voc=41.3 V", "--given", "voc_coefficient=-0.27 %/K"],
            *["--given", "record_low=-24 degC", "--given", "input_voltage_max=450 V"],
        )
    )
    # 41.3 V × (1 + 0.0027 × 49) = 46.76 V; 450 V / 46.76 V = 9.62: worked by hand
    assert told["answer"]["value"] == 9


@pytest.mark.long
@pytest.mark.browser
def test_the_server_starts_from_an_unrelated_folder_and_tells_a_problem(elsewhere, chromium_path):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    arguments = ["--no-browser", "--port", str(port), "--store", str(elsewhere / "work.sqlite3")]
    log = elsewhere / "server.log"
    with log.open("wb") as out:
        server = subprocess.Popen(command(elsewhere, *arguments), cwd=elsewhere, stdout=out, stderr=subprocess.STDOUT)
    try:
        deadline = time.monotonic() + PATIENCE
        while not answers(port):
            assert server.poll() is None, log.read_text()
            assert time.monotonic() < deadline, log.read_text()
            time.sleep(0.1)
        with ThreadPoolExecutor(1) as thread:  # the browser tests' own driver may still be running in this one
            assert "The most modules in one string" in thread.submit(page_text, port, chromium_path).result()
        assert "Traceback" not in log.read_text()
    finally:
        os.kill(server.pid, signal.SIGKILL)
        server.wait(timeout=10)


def answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
            return answer.status == 200
    except (urllib.error.URLError, OSError):
        return False


def page_text(port: int, chromium_path: str) -> str:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{port}/practice?exercise=most-modules-in-series&number=1")
        page.get_by_role("button", name="Check the answer").wait_for()
        text = page.get_by_test_id("stMain").inner_text()
        browser.close()
    return text
