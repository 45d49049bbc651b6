"""Wiring diagrams drawn from a problem's own numbers, as SVG with the same said in words."""

from tutor.diagrams.battery import BatteryCircuit, battery_circuit
from tutor.diagrams.drawing import Diagram
from tutor.diagrams.parallel import parallel_strings
from tutor.diagrams.paths import PathLabels, source_paths
from tutor.diagrams.series import ModuleKind, mixed_string, series_string

__all__ = [
    "BatteryCircuit",
    "Diagram",
    "ModuleKind",
    "PathLabels",
    "battery_circuit",
    "mixed_string",
    "parallel_strings",
    "series_string",
    "source_paths",
]
