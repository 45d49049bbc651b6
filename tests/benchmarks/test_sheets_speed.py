"""The sheets of a class and the key beside typst with the finished source, and the memory that they take."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.long

SCRIPT = Path(__file__).with_name("sheets_of_a_class.py")


def measured(which):
    done = subprocess.run([sys.executable, SCRIPT, which], capture_output=True, text=True, check=True, timeout=300)
    return json.loads(done.stdout)


def test_a_class_is_printed_within_three_times_what_typst_needs_and_in_500_megabytes(record_property):
    ours, typst = measured("ours"), measured("typst")
    ratio = ours["seconds"] / typst["seconds"]
    print(f"\nsheets and key: ours {ours}, typst alone {typst}, ratio {ratio:.2f}")
    record_property("sheets of a class, ours to typst with the finished source: ratio", ratio)
    record_property("sheets of a class: megabytes", ours["megabytes"])
    assert ratio <= 3
    assert ours["megabytes"] < 500
