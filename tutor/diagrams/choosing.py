"""Which diagram fits a problem, told by its exercise's quantities; what is asked, or worked out on the way, is '?'."""

from tutor.diagrams.battery import BatteryCircuit, battery_circuit
from tutor.diagrams.drawing import Diagram
from tutor.diagrams.parallel import OPEN, parallel_strings
from tutor.diagrams.paths import PathLabels, source_paths
from tutor.diagrams.series import ModuleKind, mixed_string, series_string
from tutor.engine.problem import Problem
from tutor.looks import Look
from tutor.trade.transfer import Source
from tutor.units import written_unit

_FEEDERS = ("feeding_source", "source_in_outage", "source_after_return")
_PASSED_THROUGH = ("supply_current", "input_limit", "room_for_charging")
_FROM_BATTERY = ("battery_runtime", "inverter_demand")
_IN_TRANSFER = ("dead_time", "load_rides", "ride_margin")
_TAKEN_OVER = ("inverter_carries", "power_margin")
_BATTERY_FUSES = ("fuse_rating", "fuse_current", "largest_fuse")
_BATTERY_CURRENTS = ("inverter_input_current", "inrush_current", "fault_current")
_MODULE_VOLTAGES = ("cold_voltage", "hot_voltage", "module_voc", "module_vmp")
_ARRAY_CURRENTS = ("design_current", "pv_current", "array_isc", "array_imp")
_STRING_FUSES = ("string_fuse", "strings_spared", "string_fuse_least")


def diagram_of(problem: Problem, look: Look) -> Diagram | None:
    """Draw a problem's wiring from its own numbers; None if no diagram fits it."""
    exercise = problem.question.exercise
    names = {*exercise.givens, *exercise.relations}
    if names & {*_FEEDERS, *_PASSED_THROUGH, *_FROM_BATTERY, *_IN_TRANSFER, *_TAKEN_OVER}:
        return source_paths(_feeding(problem, names), _path_labels(problem), look)
    if names & {*_BATTERY_FUSES, *_BATTERY_CURRENTS}:
        return battery_circuit(_battery_circuit(problem), look)
    if "strings_in_parallel" in names:
        return _parallel(problem, names, look)
    if "second_modules" in problem.shown and "modules_in_series" in problem.shown:
        return mixed_string((_kind(problem, ""), _kind(problem, "second_")), "? V", look=look)
    if "modules_in_series" in {*problem.shown, problem.ask}:
        label = next((problem.shown[name].text for name in _MODULE_VOLTAGES if name in problem.shown), "? V")
        return series_string(_count(problem, "modules_in_series"), label, "? V", look=look)
    return None


def _told(problem: Problem, name: str) -> str:
    """A given's value, '?' with its unit for what is asked or worked out, '' for what the problem has not."""
    if name in problem.shown:
        return problem.text_of(name)
    if name not in problem.step_names:
        return ""
    if problem.question.library.quantities[name].kind in ("answer", "choice", "size"):
        return "?"
    return f"?\u00a0{written_unit(problem.unit_of(name))}".rstrip()


def _first(problem: Problem, names: tuple[str, ...]) -> str:
    """The first of the quantities that the problem has, what is asked before all others; '' if it has none."""
    ordered = (problem.ask, *names) if problem.ask in names else names
    return next((name for name in ordered if _told(problem, name)), "")


def _joined(problem: Problem, *parts: tuple[str, str]) -> str:
    """What is told of several quantities, each in its words, such as ('lowest {}', 'battery_voltage_low')."""
    told = ((words, _told(problem, name)) for words, name in parts)
    return ", ".join(words.format(text) for words, text in told if text)


def _count(problem: Problem, name: str) -> int | None:
    return int(problem.known[name]) if name in problem.shown else None


def _kind(problem: Problem, second: str) -> ModuleKind:
    """The modules of the first ('') or of the second kind ('second_') in a string."""
    label = _joined(problem, ("{}", f"{second}module_vmp"), ("{}", f"{second}module_imp"))
    count = problem.known[f"{second}modules" if second else "modules_in_series"]
    return ModuleKind(int(count), label, problem.parts.get(f"{second}module", "other modules"))


def _parallel(problem: Problem, names: set[str], look: Look) -> Diagram:
    together = _first(problem, _ARRAY_CURRENTS)
    current = "Imp {}", "module_imp"
    if together != "array_imp" and _told(problem, "module_isc"):
        current = "Isc {}", "module_isc"
    in_series = _told(problem, "modules_in_series")
    modules = [f"{in_series}\u00a0{'module' if in_series == '1' else 'modules'}"] if in_series else []
    return parallel_strings(
        _count(problem, "strings_in_parallel"),
        ", ".join(filter(None, [*modules, _joined(problem, current)])) or "its modules",
        _told(problem, together),
        _string_fuse(problem) if names & {*_STRING_FUSES} else None,
        look=look,
    )


def _string_fuse(problem: Problem) -> str:
    """The string fuse's rating; a bare '?' where it is left open whether there is to be one."""
    asked_whether = "strings_spared" in problem.question.exercise.relations
    return OPEN if asked_whether else _told(problem, "string_fuse") or "?\u00a0A"


def _battery_circuit(problem: Problem) -> BatteryCircuit:
    return BatteryCircuit(
        battery=_joined(
            problem,
            ("{}", "battery_voltage"),
            ("lowest {}", "battery_voltage_low"),
            ("full {}", "battery_voltage_full"),
        ),
        fuse=_told(problem, _first(problem, _BATTERY_FUSES)),
        cable=_joined(
            problem, ("{}", "conductor_size"), ("{} one way", "run_length"), ("good for {}", "cable_ampacity")
        ),
        current=_joined(
            problem, ("{}", "inverter_input_current"), ("inrush {}", "inrush_current"), ("fault {}", "fault_current")
        ),
        inverter=_joined(problem, ("{}", "inverter_power"), ("{}", "inverter_efficiency")),
    )


def _feeding(problem: Problem, names: set[str]) -> frozenset[Source] | None:
    """Which sources feed the loads at the problem's moment; None if that is asked, or not settled."""
    if names & {*_FEEDERS}:
        told = next((name for name in _FEEDERS if name in problem.shown), None)
        words = problem.text_of(told).split(" and ") if told else []
        return frozenset(source for source in Source if source.value in words) if told else None
    if names & {*_IN_TRANSFER}:
        return frozenset()
    if names & {*_TAKEN_OVER}:
        return None
    return frozenset({Source.SUPPLY} if names & {*_PASSED_THROUGH} else {Source.BATTERY})


def _path_labels(problem: Problem) -> PathLabels:
    return PathLabels(
        supply=_joined(problem, ("{}", "supply_voltage"), ("{}", "supply_current")),
        array=_told(problem, "array_power") or None,
        battery=_told(problem, "battery_energy") or _told(problem, "battery_voltage"),
        inverter=_told(problem, "inverter_power"),
        loads=_told(problem, "load_power"),
        transfer=_told(problem, "transfer_time"),
    )
