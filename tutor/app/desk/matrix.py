"""The class at a glance: learners by places as one table, each cell a sign with its word."""

from collections.abc import Sequence
from datetime import datetime
from html import escape

from tutor.classroom.live import SIGNS, WORDS, ago, where_told
from tutor.classroom.models import Outcome
from tutor.classroom.results import Whereabouts
from tutor.looks import DARK, LIGHT

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


def matrix_html(there: Sequence[Whereabouts], outcomes: Sequence[Outcome], places: int, now: datetime) -> str:
    """The table as HTML; names are escaped."""
    cells: dict[tuple[int, int], Outcome] = {(one.handed.member.id, one.handed.place): one for one in outcomes}
    heads = "".join(
        f'<th scope="col" class="place"><span class="said">Problem </span>{at}</th>' for at in range(1, places + 1)
    )
    rows = "".join(_row(one, cells, places, now) for one in there)
    return (
        f'{_STYLE}<div class="class-matrix" tabindex="0" role="region" aria-label="Learners and their problems"><table>'
        f'<thead><tr><th scope="col">Learner</th>{heads}<th scope="col">Right</th><th scope="col">Where</th>'
        f'<th scope="col">Last answer</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _row(one: Whereabouts, cells: dict[tuple[int, int], Outcome], places: int, now: datetime) -> str:
    mine = [cells.get((one.member.id, at)) for at in range(1, places + 1)]
    right = sum(cell is not None and cell.state == "right" for cell in mine)
    states = "".join(_cell(cell, here=one.place == at) for at, cell in enumerate(mine, start=1))
    return (
        f'<tr><th scope="row"><bdi>{escape(one.member.name or one.member.number)}</bdi></th>{states}'
        f"<td>{right} of {places}</td><td>{where_told(one, now)}</td><td>{ago(one.last_answer, now)}</td></tr>"
    )


def _cell(cell: Outcome | None, *, here: bool) -> str:
    state = cell.state if cell else "open"
    tries = sum(answer.counted for answer in cell.answers) if cell else 0
    count = f" <small>{tries}</small>" if state == "wrong" else ""
    words = f"{WORDS[state]}, {tries} tries" if state == "wrong" else WORDS[state]
    mark = ' class="place here"' if here else ' class="place"'
    said = f"{words}, is here" if here else words
    return f'<td{mark}><span aria-hidden="true">{SIGNS[state]}{count}</span><span class="said">{said}</span></td>'
