"""The transfer simulation: which source feeds the loads at any moment, and what happens when the supply fails."""

from tutor.trade.transfer.flows import Flow, Mode
from tutor.trade.transfer.simulation import simulate
from tutor.trade.transfer.system import Load, Point, Source, System
from tutor.trade.transfer.telling import tell
from tutor.trade.transfer.trace import Event, Interval, Kind, LoadState, Reason, Stretch, Totals, Trace

__all__ = [
    "Event",
    "Flow",
    "Interval",
    "Kind",
    "Load",
    "LoadState",
    "Mode",
    "Point",
    "Reason",
    "Source",
    "Stretch",
    "System",
    "Totals",
    "Trace",
    "simulate",
    "tell",
]
