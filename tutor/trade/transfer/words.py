"""Events, powers and times in words."""

from typing import NamedTuple

from tutor.base.units import written
from tutor.trade.transfer.flows import Mode
from tutor.trade.transfer.system import System
from tutor.trade.transfer.trace import Kind, Reason

REASONS = {
    Reason.SUPPLY_ABSENT: "the supply is absent",
    Reason.SUPPLY_WAITING: "the supply has not been back for long enough",
    Reason.SUPPLY_TOO_SMALL: "the loads ask for more than the pass-through limit allows",
    Reason.BATTERY_LOW: "the battery was down to its low cut-off and has not reached its return threshold yet",
    Reason.OVERLOAD: "the loads ask for more than the inverter can carry",
}


class Situation(NamedTuple):
    """What an event's words may need: the load it happens to, all loads' and the array's power (W), what is to feed."""

    load: str
    load_power: float
    array_power: float
    target: Mode


def watts(power: float) -> str:
    """Write a power to three figures at least."""
    return written(power, "W", 3)


def span(seconds: float) -> str:
    """Write a duration the way people say it: '20 ms', '5 s', '4 h 30 min'."""
    if seconds < 1:
        return written(round(seconds * 1000, 6), "ms", 3)
    if seconds < 60:
        return written(round(seconds, 6), "s", 3)
    rounded = round(seconds)
    units = ((rounded // 3600, "h"), (rounded // 60 % 60, "min"), (rounded % 60, "s"))
    return " ".join(f"{number}\u00a0{unit}" for number, unit in units if number)


def clock(seconds: float) -> str:
    """Write a time as the clock shows it, to the second: '14:00', '06:30:05', '02:15 on day 2'."""
    days, second = divmod(round(seconds), 86400)
    text = f"{second // 3600:02}:{second // 60 % 60:02}"
    text += f":{second % 60:02}" if second % 60 else ""
    return f"{text} on day {days + 1}" if days else text


def event_words(system: System, kind: Kind, state: Situation) -> str:
    """Say what happens, as a clause."""
    match kind:
        case Kind.LOAD_CHANGED:
            return f"the loads now ask for {watts(state.load_power)}" if state.load_power else "no load is on any more"
        case Kind.ARRAY_CHANGED:
            ability = f"can now give {watts(state.array_power)}" if state.array_power else "gives nothing any more"
            return f"the array {ability}"
        case Kind.SUPPLY_BACK if system.qualification_delay:
            return f"the supply is back and is watched for {span(system.qualification_delay)} before it is used"
        case Kind.OVERLOAD_STARTED:
            bears = f"which it bears for {span(system.overload_time)}"
            return (
                f"the load of {watts(state.load_power)} is above the inverter's {watts(system.inverter_power)}, {bears}"
            )
        case Kind.OVERLOAD_SHUTDOWN:
            return f"{_overload(system, state.load_power)}, and it shuts down"
        case Kind.BATTERY_LOW:
            return f"the battery is down to its low cut-off of {written(system.low_cutoff * 100, '%', 3)}"
        case Kind.BATTERY_RETURNED:
            return f"the battery has reached the return threshold of {written(system.return_threshold * 100, '%', 3)}"
        case Kind.TRANSFER_STARTED | Kind.TRANSFER_ENDED:
            return f"the transfer to the {state.target} {'begins' if kind is Kind.TRANSFER_STARTED else 'is done'}"
        case Kind.LOAD_DROPPED | Kind.LOAD_RESTARTED:
            return f"the {state.load} {'drops out' if kind is Kind.LOAD_DROPPED else 'starts again'}"
    return _PLAIN[kind]


def _overload(system: System, load: float) -> str:
    if load > system.overload_limit or not system.overload_time:
        limit = system.overload_limit if load > system.overload_limit else system.inverter_power
        return f"the load of {watts(load)} is more than the {watts(limit)} that the inverter can give"
    rated = f"the inverter's {watts(system.inverter_power)}"
    return f"the load of {watts(load)} has been above {rated} for {span(system.overload_time)}"


_PLAIN = {
    Kind.BATTERY_FULL: "the battery is full",
    Kind.SUPPLY_LOST: "the supply fails",
    Kind.SUPPLY_BACK: "the supply is back",
    Kind.SUPPLY_ACCEPTED: "the supply is accepted",
    Kind.OVERLOAD_ENDED: "the overload is over",
    Kind.OVERLOAD_CLEARED: "the loads ask for no more than the inverter can carry",
    Kind.LOADS_OFF: "nothing feeds the loads any more",
    Kind.LOADS_ON: "the loads have power again",
}
