"""Floods of one server, each by one who means harm, until the seconds are over: run as a program of its own."""

import importlib.util
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

_spec = importlib.util.spec_from_file_location("raw_client", Path(__file__).with_name("raw_client.py"))
raw = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = raw
_spec.loader.exec_module(raw)

FILE = b"x" * 1_000_000
PROBLEM = "exercise=most-modules-in-series&number=3"
# Numbers that can be read in many ways, commas that may part thousands or decimals.
LINES = "\n".join(f"385 V;22.2;15;18.47;1,234;15.64;24.61;1;385 V;1,234+22.2;385;{at}" for at in range(60))
GOES_WRONG = (OSError, TimeoutError, raw.ConnectionClosed, StopIteration, ValueError)


def files(port):
    """Files of 1 MB under invented ids, and under ids that were asked for."""
    page = raw.Tab(port, "working", PROBLEM)
    invented = page.upload_addresses(["a"])[0][1].rsplit("/", 1)[0]
    for at in range(5):
        page.upload(f"{invented}/invented-{at}", FILE)
    for _, address in page.upload_addresses(["a", "b", "c", "d"]):
        page.upload(address, FILE)
    page.close()


def workings(port):
    """Sixty lines of many readings, to be checked."""
    page = raw.Tab(port, "working", PROBLEM)
    (box,) = page.elements("text_area")
    (button,) = [one for one in page.elements("button") if one.label == "Check the lines"]
    page.run({box.id: LINES, button.id: True})
    page.close()


def pages(port):
    """Pages that are opened and vanish."""
    raw.Tab(port, "").drop()


def passphrases(port):
    """Passphrases of the desk, guessed."""
    page = raw.Tab(port, "class-desk")
    (box,) = [one for one in page.elements("text_input") if one.label == "Passphrase"]
    (button,) = [one for one in page.elements("button") if one.label == "Enter the desk"]
    for guess in range(5):
        page.run({box.id: f"guess {guess}", button.id: True})
    page.close()


def again(attack, port, until):
    """Play an attack once at least and again until then, a little apart as a client far away would be."""
    while True:
        with suppress(*GOES_WRONG):
            attack(port)
        if time.monotonic() > until:
            return
        time.sleep(0.2)


if __name__ == "__main__":
    ends = time.monotonic() + float(sys.argv[2])
    attackers = [
        threading.Thread(target=again, args=(attack, int(sys.argv[1]), ends))
        for attack in (files, workings, workings, pages, passphrases)
    ]
    for attacker in attackers:
        attacker.start()
    for attacker in attackers:
        attacker.join()
