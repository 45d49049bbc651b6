"""The diagram that a problem's exercise declares: from its own numbers; what is asked or worked out stays open."""

from collections.abc import Callable
from typing import Any

from tutor.base.units import written_unit
from tutor.content.models import (
    PLACEHOLDER,
    BatteryCircuitDiagram,
    MixedStringDiagram,
    ParallelStringsDiagram,
    SeriesStringDiagram,
    SourcePathsDiagram,
    filled,
)
from tutor.pictures.diagrams.battery import BatteryCircuit, battery_circuit
from tutor.pictures.diagrams.drawing import Diagram
from tutor.pictures.diagrams.parallel import parallel_strings
from tutor.pictures.diagrams.paths import PathLabels, source_paths
from tutor.pictures.diagrams.series import ModuleKind, mixed_string, series_string
from tutor.pictures.looks import Look
from tutor.problems.problem import Problem
from tutor.trade.transfer import Source


def diagram_of(problem: Problem, look: Look) -> Diagram | None:
    """Draw a problem's wiring from its own numbers; None if its exercise declares none that fits the question."""
    declared = problem.question.exercise.diagram
    if declared is None:
        return None
    roles = type(declared).model_validate(declared.asked(problem.ask))
    return _RENDERERS[type(roles)](problem, roles, look)


def _text(problem: Problem, name: str) -> str:
    """A given's value, '?' with its unit for what is asked or worked out, '' for what the question has not."""
    if name in problem.shown:
        return problem.text_of(name)
    if name not in problem.step_names:
        return ""
    if problem.kind(name).in_words:
        return "?"
    return f"?\u00a0{written_unit(problem.unit_of(name))}".rstrip()


def _label(problem: Problem, phrases: tuple[str, ...]) -> str:
    texts = {name: _text(problem, name) for phrase in phrases for name in PLACEHOLDER.findall(phrase)}
    return ", ".join(filter(None, (filled(phrase, texts) for phrase in phrases)))


def _count(problem: Problem, name: str) -> int | None:
    return int(problem.known[name]) if name in problem.shown else None


def _series_string(problem: Problem, declared: SeriesStringDiagram, look: Look) -> Diagram | None:
    if declared.count not in {*problem.shown, problem.ask}:
        return None
    module = _label(problem, declared.module) or "? V"
    return series_string(_count(problem, declared.count), module, "? V", look=look)


def _mixed_string(problem: Problem, declared: MixedStringDiagram, look: Look) -> Diagram | None:
    first, second = _count(problem, declared.count), _count(problem, declared.second_count)
    if first is None or second is None:
        return None
    kinds = (
        ModuleKind(first, _label(problem, declared.module), problem.parts.get("module", "other modules")),
        ModuleKind(
            second, _label(problem, declared.second_module), problem.parts.get("second_module", "other modules")
        ),
    )
    return mixed_string(kinds, "? V", look=look)


def _parallel_strings(problem: Problem, declared: ParallelStringsDiagram, look: Look) -> Diagram:
    in_series = _text(problem, declared.modules) if declared.modules else ""
    modules = f"{in_series}\u00a0{'module' if in_series == '1' else 'modules'}" if in_series else ""
    return parallel_strings(
        _count(problem, declared.count),
        ", ".join(filter(None, [modules, _label(problem, declared.string)])) or "its modules",
        _label(problem, declared.together),
        None if declared.fuse is None else _label(problem, declared.fuse) or "?\u00a0A",
        look=look,
    )


def _battery_circuit(problem: Problem, declared: BatteryCircuitDiagram, look: Look) -> Diagram:
    parts = ("battery", "fuse", "cable", "current", "inverter")
    return battery_circuit(BatteryCircuit(**{part: _label(problem, getattr(declared, part)) for part in parts}), look)


def _source_paths(problem: Problem, declared: SourcePathsDiagram, look: Look) -> Diagram:
    parts = ("supply", "battery", "inverter", "loads", "transfer")
    labels = {part: _label(problem, getattr(declared, part)) for part in parts}
    feeding = None if declared.feeding is None else frozenset(map(Source, declared.feeding))
    return source_paths(feeding, PathLabels(array=_label(problem, declared.array) or None, **labels), look)


_RENDERERS: dict[type, Callable[[Problem, Any, Look], Diagram | None]] = {
    SeriesStringDiagram: _series_string,
    MixedStringDiagram: _mixed_string,
    ParallelStringsDiagram: _parallel_strings,
    BatteryCircuitDiagram: _battery_circuit,
    SourcePathsDiagram: _source_paths,
}
