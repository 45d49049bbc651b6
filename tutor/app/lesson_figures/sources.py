"""Figures on loads, sources and switching on, with the choices that a learner moves."""

from typing import TYPE_CHECKING

import streamlit as st

from tutor.app import theme
from tutor.app.lesson_figures.controls import put, told_rulebook
from tutor.trade.inrush import PreCharge
from tutor.trade.rulebooks import Rulebook
from tutor.trade.transfer import Load, Point, Source, System, simulate
from tutor.units import written

if TYPE_CHECKING:
    from tutor.app.figures.shared_load import Shared

_HOUR = 3600.0
_KWH = 3.6e6
_SUNRISE, _SUNSET = 8.0, 17.0  # o'clock: the array of the simulated day gives its power between them
_ORDERS = {
    "array, battery, supply": (Source.ARRAY, Source.BATTERY, Source.SUPPLY),
    "array, supply, battery": (Source.ARRAY, Source.SUPPLY, Source.BATTERY),
    "supply, array, battery": (Source.SUPPLY, Source.ARRAY, Source.BATTERY),
}
_LOADS = {  # invented: W, and whether it runs for three hours or more
    "refrigerator": (180.0, True),
    "lamps": (60.0, True),
    "laptop": (90.0, True),
    "space heater": (900.0, True),
    "kettle": (1200.0, False),
    "circular saw": (1100.0, False),
}
_CIRCUITS = {"us": (20.0, 120.0), "iec": (10.0, 230.0)}  # A, V
_ADVICE = "common practice, no source"


@st.fragment
def shared_load_figure() -> None:
    """The loads on one inverter or circuit."""
    from tutor.app.figures.shared_load import SharedLoad, shared_load  # noqa: PLC0415 - plotly only where it is shown

    book = told_rulebook()
    shared = _choose_shared(book)
    chosen = st.multiselect("Loads that run at once (invented)", list(_LOADS), ["refrigerator", "lamps", "kettle"])
    loads = [SharedLoad(name, *_LOADS[name]) for name in chosen]
    put(shared_load(shared, loads, theme.look()), "shared load")


def _choose_shared(book: Rulebook) -> "Shared":
    """A circuit by the rulebook, or an inverter."""
    from tutor.app.figures.shared_load import Shared  # noqa: PLC0415 - plotly only where a figure is shown

    current, voltage = _CIRCUITS[book.id]
    factor = book.number("continuous_factor")
    rule = book.figures["continuous_factor"].row["source"]
    circuits = {
        f"circuit, {current:g} A at {voltage:g} V": (current * voltage, factor, rule),
        "inverter of 1200 W": (1200.0, 1.25, _ADVICE),
        "inverter of 2000 W": (2000.0, 1.25, _ADVICE),
        "inverter of 3000 W": (3000.0, 1.25, _ADVICE),
    }
    name = st.selectbox("What they share", list(circuits))
    return Shared(f"the {name}", *circuits[name])


@st.fragment
def transfer_day_figure() -> None:
    """A day with an outage, simulated anew at each change."""
    from tutor.app.figures.transfer_day import transfer_day  # noqa: PLC0415 - plotly only where a figure is shown

    order = st.selectbox("Order in which the sources feed the loads", list(_ORDERS), 2)
    left, right = st.columns(2)
    with left:
        lost = st.slider("The supply fails at (o'clock)", 1.0, 20.0, 9.0, 0.5)
        length = st.slider("and is back after (hours)", 0.5, 18.0, 8.0, 0.5)
        load = st.slider("Loads (W)", 50, 3000, 500, 50)
    with right:
        array = st.slider(f"Array, {_SUNRISE:g}:00 to {_SUNSET:g}:00 (W)", 0, 3000, 400, 50)
        capacity = st.slider("Battery (kWh)", 1.0, 20.0, 5.0, 0.5)
        charging = st.toggle("The supply may charge the battery", value=True)
    system = System(
        loads=(Load("computer", ride_through=0.016),),
        inverter_power=2500.0,
        battery_capacity=capacity * _KWH,
        inverter_efficiency=0.9,
        idle_power=25.0,
        standby_power=15.0,
        battery_charge_efficiency=0.95,
        overload_power=4000.0,
        overload_time=5.0,
        low_cutoff=0.2,
        return_threshold=0.4,
        charge_power=1000.0,
        charger_efficiency=0.9,
        pass_through_max=16.0,
        supply_voltage=230.0,
        transfer_time=st.select_slider("Transfer time (ms)", [5, 10, 15, 20, 30], 10) / 1000,
        qualification_delay=60.0,
        load_priority=_ORDERS[order],
        charger_priority=(Source.ARRAY, Source.SUPPLY) if charging else (Source.ARRAY,),
    )
    schedule = _schedule(float(load), float(array), lost, length)
    trace = simulate(system, schedule, 24 * _HOUR, 0.8 * capacity * _KWH)
    put(transfer_day(trace, theme.look()), "transfer day")
    st.caption(_fixed_values(system))


def _fixed_values(system: System) -> str:
    """What the learner cannot move in the simulated day, losses among it."""
    charger, battery = (
        written(efficiency * 100, "%") for efficiency in (system.charger_efficiency, system.battery_charge_efficiency)
    )
    return (
        f"The other values are fixed. The inverter is rated {written(system.inverter_power, 'W')}, with an efficiency "
        f"of {written(system.inverter_efficiency * 100, '%')}. The inverter-charger itself draws "
        f"{written(system.idle_power, 'W')} while its inverter operates, and {written(system.standby_power, 'W')} "
        f"otherwise. The charger delivers {charger} of what it draws from the supply. The battery stores {battery} of "
        "what it is charged with."
    )


def _schedule(load: float, array: float, lost: float, length: float) -> list[Point]:
    """The day's inputs from midnight on (W; times in hours)."""
    times = sorted({0.0, _SUNRISE, _SUNSET, lost, *([lost + length] if lost + length < 24 else [])})
    return [
        Point(
            time * _HOUR,
            (load,),
            array if _SUNRISE <= time < _SUNSET else 0.0,
            supply_available=not lost <= time < lost + length,
        )
        for time in times
    ]


@st.fragment
def inrush_figure() -> None:
    """The current into an inverter's empty capacitors."""
    from tutor.app.figures.inrush import inrush  # noqa: PLC0415 - plotly only where a figure is shown

    voltage = st.select_slider("Battery (V)", [12, 24, 48], 48)
    capacitance = st.slider("Inverter's input capacitors (mF)", 1, 40, 10)
    resistance = st.slider("Resistance of battery, cables and capacitors (mΩ)", 5, 100, 20)
    resistor = st.slider("Pre-charge resistor (Ω)", 5, 100, 25, 5)
    time = st.slider("Main switch closes after (s)", 0.0, 10.0, 1.5, 0.1)
    plan = PreCharge(float(voltage), resistance / 1000, capacitance / 1000, float(resistor), time)
    put(inrush(plan, theme.look()), "inrush")
