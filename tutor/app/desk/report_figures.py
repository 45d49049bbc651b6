"""A class's report in two figures: the share right at each place with its interval, and the mistakes by rank."""

from collections.abc import Sequence
from textwrap import wrap

import plotly.graph_objects as go

from tutor.base.intervals import Interval
from tutor.base.text import counted
from tutor.classroom.reports.mistakes import ClassMistake
from tutor.classroom.reports.statistics import PlaceStatistics, SetStatistics
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import HEIGHT, Drawn, blank

MOST_MISTAKES = 12
ROOM_FOR_A_MISTAKE = 44
LONGEST_LINE = 26


def places_right(statistics: SetStatistics, look: Look) -> Drawn:
    """Draw the share right at each place with Wilson's 95 % interval; a place that nobody has decided is left out."""
    shown = [place for place in statistics.places if place.right.value is not None]
    shares = [100 * (place.right.value or 0.0) for place in shown]
    intervals = [place.right.interval or (0.0, 1.0) for place in shown]
    figure = blank(look, "place on the sheet", "right (%), with its 95 % interval")
    figure.update_yaxes(range=[0, 104])
    figure.update_xaxes(dtick=1, range=[0.5, (shown[-1].place if shown else 1) + 0.5])
    figure.add_trace(
        go.Scatter(
            x=[place.place for place in shown],
            y=shares,
            mode="markers",
            marker={"symbol": "diamond", "size": 11, "color": look.line_1},
            error_y={
                "type": "data",
                "symmetric": False,
                "array": [100 * high - share for share, (_, high) in zip(shares, intervals, strict=True)],
                "arrayminus": [share - 100 * low for share, (low, _) in zip(shares, intervals, strict=True)],
                "color": look.line_1,
                "thickness": 2,
                "width": 6,
            },
            customdata=[f"{place.right.count} of {place.right.total}" for place in shown],
            hovertemplate="place %{x}: %{customdata} right<extra></extra>",
            showlegend=False,
        )
    )
    return Drawn(figure, _places_sentence(statistics, shown), [_place_row(place) for place in shown])


def ranked_mistakes(mistakes: Sequence[ClassMistake], look: Look) -> Drawn:
    """Draw to how many learners each mistake was named, and to how many more perhaps, the most pressing at the top."""
    shown = list(mistakes[:MOST_MISTAKES])
    figure = blank(look, "learners", "")
    figure.update_layout(
        barmode="stack", legend_traceorder="normal", height=max(HEIGHT // 2, 120 + ROOM_FOR_A_MISTAKE * len(shown))
    )
    figure.update_xaxes(rangemode="tozero")
    figure.update_yaxes(autorange="reversed", showgrid=False)
    labels = [_label(index, mistake) for index, mistake in enumerate(shown, start=1)]
    bars = (
        ("named", [float(mistake.learners) for mistake in shown], look.line_1, {"shape": ""}),
        (
            "perhaps",
            [mistake.perhaps for mistake in shown],
            look.line_2,
            {"shape": "/", "fgcolor": look.line_2, "bgcolor": look.ground},
        ),
    )
    for name, widths, colour, pattern in bars:
        marker = {"color": colour, "pattern": pattern, "line": {"color": colour, "width": 1}}
        hover = "%{y}: %{x:.1f} " + name + "<extra></extra>"
        figure.add_trace(
            go.Bar(x=widths, y=labels, name=name, orientation="h", marker=marker, width=0.6, hovertemplate=hover)
        )
    for label, mistake in zip(labels, shown, strict=True):
        if mistake.broke_limit:
            figure.add_annotation(
                x=mistake.learners + mistake.perhaps,
                y=label,
                text="breaks a limit",
                xanchor="left",
                xshift=4,
                showarrow=False,
                font={"color": look.danger},
            )
    return Drawn(figure, _mistakes_sentence(mistakes), [_mistake_row(mistake) for mistake in shown])


def _places_sentence(statistics: SetStatistics, shown: Sequence[PlaceStatistics]) -> str:
    if not shown:
        return "No answer has been counted yet."
    hardest = min(shown, key=lambda place: place.right.value or 0.0)
    easiest = max(shown, key=lambda place: place.right.value or 0.0)
    sentence = (
        f"Of {counted(statistics.learners, 'learner')}, fewest are right at place {hardest.place} "
        f"({hardest.right.count} of {hardest.right.total}) and most at place {easiest.place} "
        f"({easiest.right.count} of {easiest.right.total})."
    )
    if not statistics.enough:
        sentence += " There are too few learners for verdicts: read the intervals."
    return sentence


def _mistakes_sentence(mistakes: Sequence[ClassMistake]) -> str:
    if not mistakes:
        return "No mistake has been recognised yet."
    first = mistakes[0]
    rest = f", and perhaps to {first.perhaps:.1f} more" if first.perhaps >= 0.1 else ""
    danger = f"; {first.broke_limit} of its {first.answers} answers would break a limit" if first.broke_limit else ""
    sentence = f"The most pressing mistake: {first.words}, named to {counted(first.learners, 'learner')}{rest}{danger}."
    return sentence + (f" {len(mistakes)} mistakes are told in all." if len(mistakes) > 1 else "")


def _label(rank: int, mistake: ClassMistake) -> str:
    """Its number and words in two lines at most, so that a phone has room for the bars too."""
    lines = wrap(f"{rank}. {mistake.words}", LONGEST_LINE)
    cut = f"{lines[1][: LONGEST_LINE - 1]}…" if len(lines) > 2 else ""
    return "<br>".join([lines[0], cut] if cut else lines)


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u00a0%"


def _span(interval: Interval | None, form: str = "{:.2f}") -> str:
    return f"{form.format(interval[0])} to {form.format(interval[1])}".replace("-", "−") if interval else ""


def _place_row(place: PlaceStatistics) -> dict[str, str]:
    low, high = place.right.interval or (0.0, 1.0)
    return {
        "Place": str(place.place),
        "Exercise": place.exercise,
        "Right": f"{place.right.count} of {place.right.total}",
        "Share": _percent(place.right.value or 0.0),
        "95 % interval": f"{_percent(low)} to {_percent(high)}",
        "Right at first": f"{place.first.count} of {place.first.total}",
        "Item-rest correlation": "" if place.item_rest is None else f"{place.item_rest:.2f}".replace("-", "−"),
        "Its 95 % interval": _span(place.item_rest_interval),
        "Minutes (median)": f"{place.seconds.median / 60:.1f}" if place.seconds else "",
        "Tries (median)": f"{place.tries.median:g}" if place.tries else "",
    }


def _mistake_row(mistake: ClassMistake) -> dict[str, str]:
    return {
        "Mistake": mistake.words,
        "Learners": str(mistake.learners),
        "Perhaps more": f"{mistake.perhaps:.1f}",
        "Answers that break a limit": f"{mistake.broke_limit} of {mistake.answers}",
        "Typed": "; ".join(mistake.examples),
        "Lesson": mistake.lesson_title,
    }
