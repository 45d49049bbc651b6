"""The class at a glance: learners by places as one table, each cell a sign with its word."""

from collections.abc import Sequence
from datetime import datetime
from html import escape

from tutor.classroom.models import Outcome
from tutor.classroom.reports.live import SIGNS, WORDS, ago, where_told
from tutor.classroom.reports.results import Whereabouts
from tutor.pictures.looks import DARK, LIGHT

_STYLE = f"""<style>
.class-matrix {{ overflow-x: auto; max-width: 100%; }}
.class-matrix table {{ border-collapse: collapse; font-size: 0.9rem; width: max-content; }}
.class-matrix :is(th, td) {{
  border-bottom: 1px solid light-dark({LIGHT.edge}, {DARK.edge}); padding: 0.25rem 0.45rem; text-align: left;
  vertical-align: top;
}}
.class-matrix :is(th, td).place {{ text-align: center; min-width: 2rem; }}
.class-matrix tbody th {{
  position: sticky; left: 0; background: light-dark({LIGHT.ground}, {DARK.ground}); width: 9.5rem; max-width: 9.5rem;
  overflow-wrap: break-word; font-weight: 600;
}}
.class-matrix td.here {{ outline: 2px solid light-dark({LIGHT.accent}, {DARK.link}); outline-offset: -3px; }}
.class-matrix .said {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}
.class-matrix td {{ position: relative; }}
</style>"""


def matrix_html(learners: Sequence[Whereabouts], outcomes: Sequence[Outcome], places: int, moment: datetime) -> str:
    """The table as HTML; names are escaped."""
    cells: dict[tuple[int, int], Outcome] = {
        (outcome.handed.member.id, outcome.handed.place): outcome for outcome in outcomes
    }
    heads = "".join(
        f'<th scope="col" class="place"><span class="said">Problem </span>{place}</th>'
        for place in range(1, places + 1)
    )
    rows = "".join(_row(learner, cells, places, moment) for learner in learners)
    return (
        f'{_STYLE}<div class="class-matrix" tabindex="0" role="region" aria-label="Learners and their problems"><table>'
        f'<thead><tr><th scope="col">Learner</th>{heads}<th scope="col">Right</th><th scope="col">Where</th>'
        f'<th scope="col">Last answer</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _row(learner: Whereabouts, cells: dict[tuple[int, int], Outcome], places: int, moment: datetime) -> str:
    row = [cells.get((learner.member.id, place)) for place in range(1, places + 1)]
    right = sum(cell is not None and cell.state == "right" for cell in row)
    states = "".join(_cell(cell, is_here=learner.place == place) for place, cell in enumerate(row, start=1))
    return (
        f'<tr><th scope="row"><bdi>{escape(learner.member.name or learner.member.number)}</bdi></th>{states}'
        f"<td>{right} of {places}</td><td>{where_told(learner, moment)}</td>"
        f"<td>{ago(learner.last_answer, moment)}</td></tr>"
    )


def _cell(cell: Outcome | None, *, is_here: bool) -> str:
    state = cell.state if cell else "open"
    tries = sum(answer.counted for answer in cell.answers) if cell else 0
    count = f" <small>{tries}</small>" if state == "wrong" else ""
    words = f"{WORDS[state]}, {tries} tries" if state == "wrong" else WORDS[state]
    mark = ' class="place here"' if is_here else ' class="place"'
    spoken = f"{words}, is here" if is_here else words
    return f'<td{mark}><span aria-hidden="true">{SIGNS[state]}{count}</span><span class="said">{spoken}</span></td>'
