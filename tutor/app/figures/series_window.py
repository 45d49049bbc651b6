"""Bars of a string's voltage for one module, two, three ...: voltages add, and the window closes from both sides."""

import plotly.graph_objects as go

from tutor.app.figures.base import Drawn, Rows, Window, add_window, blank, volts
from tutor.looks import Look
from tutor.trade.strings import fewest_in_series, most_in_series

FITS, TOO_FEW, TOO_MANY = "fits", "too few", "too many"


def series_window(highest_module: float, operating_module: float, window: Window, look: Look) -> Drawn:
    """Draw the strings of 1, 2, ... modules of a highest and an operating voltage (V each) against the window.

    A string fits if its highest voltage stays at or below the input's limit and its operating voltage reaches the
    input's best.  Raises ValueError unless all voltages are above 0.
    """
    most = most_in_series(window.highest, highest_module)
    fewest = fewest_in_series(window.best, operating_module)
    counts = list(range(1, max(most, fewest) + 3))
    verdicts = {count: _verdict(count, fewest, most) for count in counts}
    figure = blank(look, "", "string voltage (V)")
    add_window(figure, look, window)
    for verdict, fill, pattern in ((TOO_FEW, look.ground, ""), (FITS, look.line_1, ""), (TOO_MANY, look.ground, "/")):
        chosen = [count for count in counts if verdicts[count] == verdict]
        outline = look.danger if verdict == TOO_MANY else look.line_1
        figure.add_trace(
            go.Bar(
                x=chosen,
                y=[count * highest_module for count in chosen],
                name=f"highest: {verdict}",
                marker={
                    "color": fill,
                    "line": {"color": outline, "width": 2},
                    "pattern": {"shape": pattern, "fgcolor": outline, "bgcolor": look.ground, "size": 7},
                },
                hovertemplate="%{x} modules: %{y:.1f} V<extra></extra>",
            )
        )
    figure.add_trace(
        go.Scatter(
            x=counts,
            y=[count * operating_module for count in counts],
            name="operating",
            mode="markers",
            marker={"symbol": "diamond", "size": 11, "color": look.ground, "line": {"color": look.line_2, "width": 3}},
            hovertemplate="%{x} modules: %{y:.1f} V<extra></extra>",
        )
    )
    figure.update_xaxes(title=f"modules in series: {_short(fewest, most)}", dtick=1 if len(counts) <= 12 else 2)
    figure.update_yaxes(range=[0, 1.08 * max(window.highest, counts[-1] * highest_module)])
    figure.update_layout(bargap=0.3)
    return Drawn(
        figure,
        _sentence(fewest, most, highest_module, operating_module, window),
        _rows(verdicts, highest_module, operating_module),
    )


def _verdict(count: int, fewest: int, most: int) -> str:
    if count > most:
        return TOO_MANY
    return TOO_FEW if count < fewest else FITS


def _short(fewest: int, most: int) -> str:
    return "none fits" if fewest > most else f"fewest {fewest}, most {most}"


def _sentence(fewest: int, most: int, highest: float, operating: float, window: Window) -> str:
    added = (
        f"Voltages add: each module in the string adds {volts(highest)} at its highest "
        f"and {volts(operating)} operating."
    )
    beyond = volts((most + 1) * highest)
    limit = f"{most} at most, for {most + 1} would stand at {beyond}, above the limit of {window.highest:g} V"
    if fewest > most:
        return f"{added} No number of them fits: {fewest} are needed to operate at {window.best:g} V, but {limit}."
    return f"{added} At least {fewest} are needed to operate at {window.best:g} V; {limit}."


def _rows(verdicts: dict[int, str], highest: float, operating: float) -> Rows:
    return [
        {
            "Modules": str(count),
            "Highest": volts(count * highest),
            "Operating": volts(count * operating),
            "Fits the window": verdict,
        }
        for count, verdict in verdicts.items()
    ]
