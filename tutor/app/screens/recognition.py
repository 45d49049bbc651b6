import json
from functools import lru_cache
from typing import Any

import streamlit as st

from tutor.app.markdown_table import show_table
from tutor.diagnosis import NAMED, OUTCOMES
from tutor.paths import content_root


@lru_cache(maxsize=1)
def report() -> dict[str, Any]:
    """Return what the last trial found; `coldmorning diagnose-trial --json` wrote it."""
    found: dict[str, Any] = json.loads((content_root() / "assets" / "recognition.json").read_text(encoding="utf-8"))
    return found


def per_cent(share: float) -> str:
    return f"{100 * share:.1f} %"


def with_interval(row: dict[str, Any], outcome: str) -> str:
    if outcome not in row:
        return ""
    low, high = row[outcome]["interval"]
    return f"{per_cent(row[outcome]['share'])} ({100 * low:.1f} to {100 * high:.1f})"


def whole() -> list[dict[str, str]]:
    return [
        {"Learner": f"{kind} ({row['learners']})", **{outcome: with_interval(row, outcome) for outcome in OUTCOMES}}
        for kind, row in report()["overall"].items()
    ]


def each_exercise() -> list[dict[str, str]]:
    kinds = [kind for kind in report()["overall"] if kind.startswith(("a declared", "a derived"))]
    return [
        {"Exercise": one["exercise"]}
        | {kind: per_cent(one[kind].get(NAMED, 0) / one[kind]["learners"]) if kind in one else "" for kind in kinds}
        for one in report()["exercises"]
    ]


st.title("How well does it recognise mistakes?", anchor=False)
st.markdown(
    "A tutor that names mistakes can name the wrong one. So it is tried on simulated learners whose mistakes are "
    "known: each makes one declared mistake of the exercise, or one slip that follows from its relations alone, or two "
    "at once, and types the answer, or every step, with three to five figures. Others type numbers from nowhere, or "
    "come to the right answer with rounding of their own. The shares are followed by their 95 % intervals."
)
show_table(whole())
st.markdown(
    "**Named rightly** is said at the first guess. Where many mistakes must share few answers, as with whole numbers "
    "and standard sizes, the tutor names one only if it is almost certain; else it **asks a separating question** and "
    "offers up to three. What nothing explains is **not identified**, and it says so. **Named falsely** is what it "
    "should not do. A right answer that rounding carries past a limit counts as not identified: the learner is asked "
    "to round to the safe side. Two mistakes that come to the same expression count as one, since no number tells them "
    "apart."
)
st.header("Single mistakes, mixed as they are expected", anchor=False)
st.markdown("Most wrong answers come from declared mistakes; the slips that nobody declared are the smaller part.")
show_table(
    [
        {"What is typed": typed, **{outcome: per_cent(share) for outcome, share in row.items()}}
        for typed, row in report()["single_mistakes"].items()
    ]
)
st.header("Each exercise", anchor=False)
st.markdown("The share that is named rightly at the first guess.")
show_table(each_exercise())
st.markdown(
    "The learners are simulated, so these figures say how well the tutor tells mistakes apart that it can think of. "
    "How often people make others is not known until enough of them have used it."
)
