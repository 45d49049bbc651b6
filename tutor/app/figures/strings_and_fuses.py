"""What the other strings can drive into a faulty one, against the largest fuse that its module bears."""

import plotly.graph_objects as go

from tutor.app.figures.base import Drawn, add_level, blank
from tutor.content.models import Amount
from tutor.looks import Look
from tutor.trade.protection import string_fuse, string_fuse_range, string_fuse_test
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.units import written

MOST_STRINGS = 8
SPARED, FUSED = "no fuses needed", "each string needs a fuse"


def strings_and_fuses(book: Rulebook, strings: int, module_isc: Amount, fuse_max: Amount, look: Look) -> Drawn:
    """Draw the fault current of 1, 2, ... strings from their short-circuit current and the module's largest fuse.

    Raises ValueError unless there is a string and both currents are above 0.
    """
    short_circuit, module_fuse_max = module_isc.working, fuse_max.working
    if strings < 1 or not (short_circuit > 0 and module_fuse_max > 0):
        raise ValueError("there has to be a string, and its currents have to be above 0")
    counts = list(range(1, max(MOST_STRINGS, strings) + 1))
    tests = {count: string_fuse_test(book, count, short_circuit, module_fuse_max) for count in counts}
    figure = blank(look, "strings in parallel", "current into one faulty string (A)")
    for words, pattern, colour in ((SPARED, "", look.line_1), (FUSED, "/", look.danger)):
        chosen = [count for count in counts if tests[count].needed == (words == FUSED)]
        figure.add_trace(
            go.Bar(
                x=chosen,
                y=[tests[count].backfeed for count in chosen],
                name=words,
                marker={
                    "color": look.ground if pattern else colour,
                    "line": {"color": colour, "width": [5 if count == strings else 1.5 for count in chosen]},
                    "pattern": {"shape": pattern, "fgcolor": colour, "bgcolor": look.ground, "size": 7},
                },
                hovertemplate="%{x} strings: %{y:.1f} A<extra></extra>",
            )
        )
    figure.add_annotation(
        x=strings,
        y=tests[strings].backfeed,
        text=f"<b>{written(tests[strings].backfeed, 'A', 3)}</b>",
        yanchor="bottom",
        bgcolor=look.ground,
        bordercolor=look.text,
        borderpad=2,
        showarrow=False,
        yshift=6,
    )
    figure.update_xaxes(dtick=1)
    figure.update_yaxes(range=[0, 1.15 * max(module_fuse_max, tests[counts[-1]].backfeed)])
    _add_limit(figure, look, fuse_max)
    return Drawn(
        figure,
        _sentence(book, strings, module_isc, fuse_max),
        [
            {
                "Strings": str(count),
                "Others": str(count - 1),
                "Into a faulty one": written(tests[count].backfeed, "A", 3),
                "Fuses": FUSED if tests[count].needed else SPARED,
            }
            for count in counts
        ],
    )


def _add_limit(figure: go.Figure, look: Look, fuse_max: Amount) -> None:
    add_level(figure, look, fuse_max.working, f"module bears {fuse_max}", deadly=True)
    figure.layout.annotations[-1].update(x=0.005, xanchor="left")


def _sentence(book: Rulebook, strings: int, module_isc: Amount, fuse_max: Amount) -> str:
    currents = (module_isc.working, fuse_max.working)
    test = string_fuse_test(book, strings, *currents)
    factor = f"{test.rule.value:g} × " if test.rule.value != 1 else ""
    rule = f"By {test.rule.row['source']}" if test.rule.row["edition"] else "By custom in the United States"
    if strings == 1:
        return f"{rule}: one string stands alone, nothing feeds it from outside, and it needs no fuse for its own sake."
    others = f"{strings - 1} others drive" if strings > 2 else "one other drives"
    told = (
        f"{rule}, with {strings} strings: the {others} up to {strings - 1} × {factor}"
        f"{module_isc} = {written(test.backfeed, 'A', 3)} into a faulty one, "
    )
    if not test.needed:
        return f"{told}which its module bears ({fuse_max}): no fuses are needed as far as the modules go."
    return f"{told}more than the {fuse_max} that its module bears: each string needs a fuse. {_fuse(book, *currents)}"


def _fuse(book: Rulebook, short_circuit: float, module_fuse_max: float) -> str:
    within = string_fuse_range(book, short_circuit, module_fuse_max)
    low, high = written(within.low, "A", 3), written(within.high, "A", 3)
    try:
        rating = string_fuse(book, short_circuit, module_fuse_max)
    except TableError:
        return f"No standard fuse lies between {low} and {high}: these modules cannot be paralleled so."
    return f"It has to lie between {low} and {high}: {written(rating, 'A')} is the smallest standard rating."
