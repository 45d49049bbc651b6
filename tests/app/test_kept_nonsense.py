"""Whatever stands in the store, each page opens and can be worked on: old exercises, broken values, hostile text."""

import json
import sqlite3
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import tutor.app
from tutor.app import session
from tutor.learner.record import Attempt, Record

MAIN = Path(tutor.app.__file__).parent / "main.py"
LEARNER = "l" * 43
EXERCISE = "most-modules-in-series"
HOSTILE = ["sqrt(16, 4)", "9^9^9^9", "1/0", "NaN", "\u202e٣", "(" * 120, "9" * 5000, "\ufffd", "<b>:red[x]</b>", ""]
BROKEN = [
    {"exercise": "gone-for-good"},
    {"ask": "gone_for_good"},
    {"verdict": "purple"},
    {"entry": "sqrt(16, 4)"},
    {"entry": "9" * 5000},
    {"steps": json.dumps({"gone_for_good": "3"})},
    {"steps": json.dumps({"cold_voltage": 3})},
    {"steps": "null"},
    {"steps": "[1, 2]"},
    {"mistakes": '"x"'},
    {"named": "gone-for-good"},
    {"help": "everything"},
    {"hints_seen": 99},
    {"hints_seen": -3},
    {"seconds": -1.0},
    {"seconds": "soon"},
]


def opened(name, **query):
    app = AppTest.from_file(str(MAIN), default_timeout=60)
    app.session_state["learner"] = LEARNER
    app.run()
    assert not app.exception
    app.switch_page(f"screens/{name}.py")
    for key, value in query.items():
        app.query_params[key] = value
    app.run()
    assert not app.exception
    return app


@pytest.mark.one_in(3)
@pytest.mark.parametrize("broken", BROKEN, ids=lambda one: str(one)[:40])
def test_a_broken_attempt_closes_no_page(pages_store, broken):
    problem = session.problem(EXERCISE, None, 1, "us")
    attempt = Attempt(
        exercise=EXERCISE,
        version=problem.question.version,
        number=1,
        ask=problem.ask,
        rulebook="us",
        givens={name: amount.text for name, amount in problem.shown.items()},
        entry="9",
        steps={"cold_voltage": "45"},
        verdict="wrong",
    )
    Record(session.store(), LEARNER).add(attempt)
    with sqlite3.connect(pages_store) as connection:
        for column, value in broken.items():
            connection.execute(f"update attempt set {column} = ?", [value])
    opened("start")
    opened("progress")
    app = opened("practice", exercise=EXERCISE, number="1")
    app.text_input[-1].set_value(problem.answer.text)
    next(button for button in app.button if button.label == "Check the answer").click()
    app.run()
    assert not app.exception
    assert app.success


@pytest.mark.parametrize("value", ["[1]", "{}", "3", "null", '"zz"', '"iec"'])
def test_a_broken_setting_or_place_closes_no_page(pages_store, value):
    mine = Record(session.store(), LEARNER)
    mine.keep_setting("rulebook", "us")
    mine.keep_place({"page": "practice", "query": "exercise=gone"})
    with sqlite3.connect(pages_store) as connection:
        connection.execute("update setting set value = ?", [value])
        connection.execute('update place_kept set "where" = ?', [value])
    opened("start")
    opened("lessons")


@pytest.mark.parametrize("text", HOSTILE, ids=lambda one: one[:12])
def test_hostile_lines_that_are_kept_are_shown_and_not_checked(pages_store, monkeypatch, text):
    def unwanted(*_):
        raise AssertionError("nobody asked for a verdict")

    monkeypatch.setattr(session.checker(), "check", unwanted)
    app = opened("working", exercise=EXERCISE, number="1")
    app.text_area[0].set_value(text)
    app.run()
    assert not app.exception
    again = opened("working", exercise=EXERCISE, number="1")
    assert again.text_area[0].value == text[:12_000]
    assert bool(text) == any("not checked yet" in box.value for box in again.info)
