"""A trace told in plain sentences, from nothing but the trace."""

from tutor.trade.transfer.flows import Flow, Mode
from tutor.trade.transfer.system import Source
from tutor.trade.transfer.trace import Event, Interval, Kind, LoadState, Reason, Trace
from tutor.trade.transfer.words import REASONS, clock, span, watts

_SAID_OTHERWISE = (Kind.TRANSFER_STARTED, Kind.TRANSFER_ENDED, Kind.LOADS_OFF, Kind.LOADS_ON)
_SAID_BY_EVENT = {
    Reason.SUPPLY_ABSENT: Kind.SUPPLY_LOST,
    Reason.SUPPLY_WAITING: Kind.SUPPLY_BACK,
    Reason.BATTERY_LOW: Kind.BATTERY_LOW,
    Reason.OVERLOAD: Kind.OVERLOAD_SHUTDOWN,
}
_LEAST_TOLD = 0.001  # W: what is less is binary rounding, not a power


def tell(trace: Trace, day_start: float | None = None) -> list[str]:
    """Tell a trace, a sentence for each change; a transfer and what follows it share one.

    Times are clock times, to the second, if `day_start` says what the clock shows at time 0 (s after midnight).
    """
    sentences = []
    reasons: tuple[Reason, ...] = ()
    events = list(trace.events)
    for stretch in _stretches(trace.intervals):
        happened = [event for event in events if event.time <= stretch[-1].start]
        events = events[len(happened) :]
        clauses = _happenings(trace, stretch, happened)
        state = _state(stretch[-1]) + _because(stretch[-1], reasons, happened)
        reasons = stretch[-1].why
        sentences.append(_sentence(_when(stretch[0].start, day_start), clauses, state))
    last = [event.words for event in events if event.kind not in (Kind.TRANSFER_STARTED, Kind.TRANSFER_ENDED)]
    if last:
        sentences.append(f"{_when(events[-1].time, day_start)} {'; '.join(last)}.")
    return sentences


def _stretches(intervals: tuple[Interval, ...]) -> list[list[Interval]]:
    """Join each transfer with what follows it."""
    stretches: list[list[Interval]] = []
    for interval in intervals:
        if stretches and stretches[-1][-1].mode is Mode.TRANSFER:
            stretches[-1].append(interval)
        else:
            stretches.append([interval])
    return stretches


def _sentence(when: str, clauses: list[str], state: str) -> str:
    if not clauses:
        return f"{when} {state}."
    return f"{when} {'; '.join(clauses)}; from then on {state}."


def _when(time: float, day_start: float | None) -> str:
    if day_start is not None:
        return f"At {clock(day_start + time)}"
    return f"After {span(time)}" if time > 0 else "At the start"


def _happenings(trace: Trace, stretch: list[Interval], happened: list[Event]) -> list[str]:
    """What happens before the stretch's last state, the transfer among it."""
    first = [event for event in happened if event.time == stretch[0].start]
    later = [event for event in happened if event.time > stretch[0].start]
    clauses = [event.words for event in first if event.kind not in _SAID_OTHERWISE]
    if len(stretch) > 1:
        clauses.append(_transfer(trace, stretch, happened))
        later = [event for event in later if event.kind is not Kind.LOAD_DROPPED]
    elif any(event.kind is Kind.TRANSFER_ENDED for event in first):
        clauses.append("the transfer takes no time")
    return clauses + [event.words for event in later if event.kind not in _SAID_OTHERWISE]


def _transfer(trace: Trace, stretch: list[Interval], happened: list[Event]) -> str:
    """How long the transfer takes, and which loads ride through it."""
    duration_words = f"the transfer takes {span(stretch[-1].start - stretch[0].start)}"
    dropped = [event.load for event in happened if event.kind is Kind.LOAD_DROPPED]
    unfed = zip(trace.system.loads, stretch[0].loads, strict=True)
    riding = [load.name for load, state in unfed if state is LoadState.RIDING and load.name not in dropped]
    through = f"{_names(riding)} {'rides' if len(riding) == 1 else 'ride'} through" if riding else ""
    if dropped and riding:
        return f"{duration_words}, which {through} but {_names(dropped)} {'does' if len(dropped) == 1 else 'do'} not"
    if dropped:
        return f"{duration_words}, which {_names(dropped)} {'does' if len(dropped) == 1 else 'do'} not ride through"
    return f"{duration_words}, which {through}" if riding and stretch[-1].mode.live else duration_words


def _names(loads: list[str]) -> str:
    return _and([f"the {load}" for load in loads])


def _and(parts: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))


def _state(interval: Interval) -> str:
    """Who feeds the loads and charges the battery, as a clause."""
    parts = [_feeding(interval), *_charging(interval.flow)]
    if interval.flow.array_curtailed > _LEAST_TOLD:
        parts.append(f"{watts(interval.flow.array_curtailed)} of the array's power is not taken")
    if LoadState.DROPPED in interval.loads and interval.mode.live:
        parts.append(f"{watts(interval.flow.unserved)} stays unserved")
    return _and(parts)


def _feeding(interval: Interval) -> str:
    if interval.mode is Mode.TRANSFER:
        return "nothing feeds the loads while the transfer lasts"
    drawn = -interval.flow.battery_power
    if interval.mode is Mode.OFF:
        own_draw = (
            f" and the inverter-charger itself draws {watts(drawn)} from the battery" if drawn > _LEAST_TOLD else ""
        )
        return f"nothing feeds the loads{own_draw}"
    sources = interval.flow.sources
    if not sources:
        idle = f", whose own consumption draws {watts(drawn)} from the battery" if drawn > _LEAST_TOLD else ""
        return f"no load draws power from the {interval.mode}{idle}"
    fed = [f"the {source} feeds {watts(power)}{_way(source, interval)}" for source, power in sources.items()]
    return _and(fed)


def _way(source: Source, interval: Interval) -> str:
    if source is Source.SUPPLY:
        return ""
    drawn = f", drawing {watts(-interval.flow.battery_power)}" if source is Source.BATTERY else ""
    return f" through the inverter{drawn}"


def _charging(flow: Flow) -> list[str]:
    parts = []
    if flow.charge_from_array > _LEAST_TOLD:
        parts.append(f"the array charges the battery with {watts(flow.charge_from_array)}")
    if flow.charge_from_supply > _LEAST_TOLD:
        drawn = f"which takes {watts(flow.supply_charge)} of it"
        parts.append(f"the supply charges the battery with {watts(flow.charge_from_supply)}, {drawn}")
    if flow.supply_standby > _LEAST_TOLD:
        parts.append(f"the supply gives the inverter-charger itself {watts(flow.supply_standby)}")
    return parts


def _because(interval: Interval, told: tuple[Reason, ...], happened: list[Event]) -> str:
    """The reasons that neither the sentence before nor an event has given."""
    kinds = {event.kind for event in happened}
    new = [reason for reason in interval.why if reason not in told and _SAID_BY_EVENT.get(reason) not in kinds]
    reasons = [REASONS[reason] for reason in new if reason is not Reason.FIRST_CHOICE]
    return f", because {_and(reasons)}" if reasons else ""
