import json
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any

import streamlit as st

from tutor.app.components.showing import plain
from tutor.app.session import library
from tutor.base.paths import content_root
from tutor.tools.diagnosis import of_all, of_single_mistakes
from tutor.tools.simulated_learner import NAMED


@lru_cache(maxsize=1)
def report() -> dict[str, Any]:
    """Return what the last trial found; `coldmorning diagnose-trial --json` wrote it."""
    trial: dict[str, Any] = json.loads((content_root() / "assets" / "recognition.json").read_text(encoding="utf-8"))
    return trial


def bullets(sentences: Iterable[str]) -> None:
    st.markdown("\n".join(f"- {plain(line)}" for line in sentences))


def each_exercise() -> Iterator[str]:
    for exercise in report()["exercises"]:
        if exercise["exercise"] in library().exercises:
            shares = (
                f"{kind} {100 * row.get(NAMED, 0) / row['learners']:.0f} %"
                for kind, row in exercise.items()
                if kind.startswith(("a declared", "a derived"))
            )
            yield f"{library().exercises[exercise['exercise']].title}: {'; '.join(shares)}"


st.title("How well does it recognise mistakes?", anchor=False)
st.markdown(
    "A tutor that names mistakes can name the wrong one. So it is tried on simulated learners whose mistakes are "
    "known: each makes one declared mistake of the exercise, or one slip that follows from its relations alone, or two "
    "at once, and types the answer, or every step, with three to five figures. Others type numbers from nowhere, or "
    "come to the right answer with rounding of their own. The shares are followed by their 95 % intervals."
)
bullets(of_all(report()))
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
bullets(of_single_mistakes(report()))
st.header("Each exercise", anchor=False)
st.markdown("The share that is named rightly at the first guess.")
bullets(each_exercise())
st.markdown(
    "The learners are simulated, so these figures say how well the tutor tells mistakes apart that it can think of. "
    "How often people make others is not known until enough of them have used it."
)
