"""What `coldmorning verify` finds: a sound exercise holds; each broken copy of it is caught and its fault named."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from pydantic import ValidationError

from tutor.base.paths import content_root
from tutor.cli import main
from tutor.content.models import Source
from tutor.tools.verify import table_faults, verify_all
from tutor.trade.rulebooks import RULEBOOKS, rulebook

FOLDER = Path(__file__).parents[1] / "corpora" / "faulty_exercises"
SOUND, CONDUCTOR = FOLDER / "sound-exercise.yaml", FOLDER / "sound-conductor.yaml"
DRAWS = "12"

# fault: what is replaced, by what, and the words that name the fault
AT_ONCE = {
    "id unlike the file": ("id: sound-exercise", "id: other-exercise", "but the file is named 'sound-exercise'"),
    "id a boolean": ("id: sound-exercise", "id: no", "id: text is expected here"),
    "id with capitals": ("id: sound-exercise", "id: Sound", "id: use lower-case letters"),
    "field misspelt": ("hints:", "hint:", "hint: there is no such field"),
    "field missing": ("level: 2\n", "", "level: this field is missing"),
    "level too high": ("level: 2", "level: 7", "level: Input should be less than or equal to 3"),
    "level in words": ("level: 2", "level: two", "level: a whole number is expected"),
    "field twice": ("level: 2", "level: 2\nlevel: 3", "'level' is written twice"),
    "tab indent": ("  module_voc: module\n", "\tmodule_voc: module\n", "the YAML cannot be read"),
    "code in a tag": ("level: 2", "level: !!python/object/apply:os.getpid []", "is not read"),
    "unknown lesson": ("lesson: cold-voltage", "lesson: warm-voltage", "there is no lesson 'warm-voltage'"),
    "unknown caution": ("[cold-overvoltage,", "[cold-undervoltage,", "there is no 'cold-undervoltage'"),
    "standing told to learners": ("the cold left out", "the cold, from memory", "'from memory' tells how far"),
    "figure told as unread": (
        "title: The most modules",
        "title: Not yet read, the most modules",
        "tells how far a source",
    ),
    "unknown source": ("[nfpa-70-690-7]", "[nfpa-70-999]", "there is no 'nfpa-70-999'"),
    "given from nowhere": ("module_voc: module\n", "module_voc: shed\n", "givens.module_voc"),
    "range with mixed units": (
        "input_voltage_max: charger",
        "input_voltage_max: {lowest: 100 V, highest: 600 A, step: 10 V}",
        "have to be written in one unit",
    ),
    "range upside down": (
        "input_voltage_max: charger",
        "input_voltage_max: {lowest: 600 V, highest: 100 V, step: 10 V}",
        "'lowest' has to be below 'highest'",
    ),
    "step in another unit": (
        "input_voltage_max: charger",
        "input_voltage_max: {lowest: 100 V, highest: 600 V, step: 10 kV}",
        "'step' has to be written in the unit of 'lowest'",
    ),
    "step of nothing": (
        "input_voltage_max: charger",
        "input_voltage_max: {lowest: 100 V, highest: 600 V, step: 0 V}",
        "'step' has to be above zero",
    ),
    "unknown unit": ("input_voltage_max: charger", "input_voltage_max: {one_of: [600 Vult]}", "'Vult' is not a unit"),
    "infinite value": ("input_voltage_max: charger", "input_voltage_max: {one_of: [.inf]}", "'.inf' is not a value"),
    "slip missing": ("    instead: {cold_voltage: module_voc}\n", "", "a mistake needs 'instead', 'swap' or 'misread'"),
    "weight negative": ("weight: 3", "weight: -3", "Input should be greater than 0"),
}
WHEN_PROVED = {
    "given not in the glossary": (
        "module_voc: module\n",
        "module_voc: module\n  module_colour: {from: module, take: cells}\n",
        "'module_colour' is not in the glossary",
    ),
    "part without the field": ("module_vmp: module", "module_vmp: charger", "a charger has no 'module_vmp'"),
    "given drawn in another unit": (
        "module_vmp: module",
        "module_vmp: {from: module, take: module_imp}",
        "'module_vmp' is in 'V', but is drawn as",
    ),
    "relation's name misspelt": (
        "  cold_voltage: module_voc * (1",
        "  cold_voltag: module_voc * (1",
        "'cold_voltag' is not in the glossary",
    ),
    "name misspelt in a relation": (
        "input_voltage_max / cold_voltage",
        "input_voltage_maxi / cold_voltage",
        "'input_voltage_maxi' is not in the glossary",
    ),
    "undeclared quantity": (
        "input_voltage_max / cold_voltage",
        "input_voltage_best / cold_voltage",
        "input_voltage_best is neither a given nor defined by a relation",
    ),
    "relation cut off": ("input_voltage_max / cold_voltage", "input_voltage_max /", "cannot be read from here on"),
    "code as a relation": (
        "input_voltage_max / cold_voltage",
        "__import__('os').getpid()",
        "cannot be read from here on: '__import__",
    ),
    "unknown function": ("round_down(modules", "trunc(modules", "'trunc' is not a function of relations"),
    "unknown unit in a relation": ("record_low - 25 degC))\n", "record_low - 25 degX))\n", "'degX' is not a unit"),
    "dimensions": (
        "input_voltage_max / cold_voltage",
        "input_voltage_max * cold_voltage",
        "is declared in 'a pure number'",
    ),
    "bare temperature": ("(record_low - 25 degC))\n", "record_low)\n", "only makes sense as a difference"),
    "unlike terms": ("module_voc * (1 + voc", "module_voc * (1 K + voc", "the dimensions do not fit"),
    "rounding inside a relation": (
        "modules_that_fit: input_voltage_max / cold_voltage",
        "modules_that_fit: round_down(input_voltage_max / cold_voltage) / 1",
        "rounds, compares or looks up inside a longer relation",
    ),
    "unknown table": (
        "round_down(modules_that_fit)\nlimits",
        "look_up(no_table, modules_that_fit)\nlimits",
        "no_table",
    ),
    "circle": (
        "  cold_voltage: module_voc * (1 + voc_coefficient * (record_low - 25 degC))",
        "  cold_voltage: input_voltage_max / modules_that_fit",
        "go round in a circle at",
    ),
    "reason missing": (
        "  modules_that_fit: Voltages",
        "  input_voltage_max: Voltages",
        "'modules_that_fit' has no reason",
    ),
    "given and relation": (
        "module_vmp: module\n",
        "module_vmp: module\n  cold_voltage: module\n",
        "is a given and a relation",
    ),
    "ask undeclared": (
        "  input_voltage_max: At least",
        "  string_voc: At least",
        "'string_voc' is neither a given nor",
    ),
    "limit missing": (
        "limits:\n  - modules_in_series * cold_voltage <= input_voltage_max\n",
        "",
        "a limit is needed to turn the question round to record_low",
    ),
    "limit without a sign": ("cold_voltage <= input_voltage_max", "cold_voltage - input_voltage_max", "is not a limit"),
    "limit of unlike things": (
        "cold_voltage <= input_voltage_max",
        "cold_voltage <= record_low",
        "dimensions do not fit",
    ),
    "limit the wrong way round": (
        "cold_voltage <= input",
        "cold_voltage >= input",
        "the right answer breaks the limit",
    ),
    "right way unsafe": (
        "modules_in_series: round_down(modules_that_fit)\nlimits",
        "modules_in_series: round_up(modules_that_fit)\nlimits",
        "the right answer breaks the limit 'modules_in_series * cold_voltage <= input_voltage_max'",
    ),
    "mistake that changes nothing": (
        "swap: {module_voc: module_vmp}",
        "instead: {modules_that_fit: input_voltage_max / cold_voltage}",
        "the mistake 'operating-voltage-used' changes no answer",
    ),
    "mistake in no relation": (
        "instead: {cold_voltage: module_voc}",
        "instead: {hot_voltage: module_voc}",
        "'hot_voltage' is not one of the relations",
    ),
    "swap for what is not there": (
        "swap: {module_voc: module_vmp}",
        "swap: {module_voc: hot_voltage}",
        "hot_voltage is neither a given nor defined by a relation",
    ),
    "swap of what is not there": (
        "swap: {module_voc: module_vmp}",
        "swap: {module_isc: module_vmp}",
        "swap: 'module_isc' is not used in this exercise",
    ),
    "mistake too close to the right way": (
        "instead: {cold_voltage: module_voc}",
        "instead: {cold_voltage: module_voc * (1 + voc_coefficient * (record_low - 26 degC))}",
        "fail the check of mistakes: the mistake 'cold-left-out' would be marked right",
    ),
    "misreading of what is not there": (
        "swap: {module_voc: module_vmp}",
        "misread: {hottest_cell: degC}",
        "misread: 'hottest_cell' is not used in this exercise",
    ),
    "story tells what is not known": ('"{place} has seen', '"{town} has seen', "the story has no {town} to tell"),
    "question tells its answer": (
        "How many of these modules may go",
        "How many of {modules_in_series} modules may go",
        "{modules_in_series} is not known in this question",
    ),
    "bounds empty": (
        "modules_in_series: [3, 18]",
        "modules_in_series: [18, 3]",
        "the bounds of 'modules_in_series' are empty",
    ),
    "bounds out of reach": (
        "modules_in_series: [3, 18]",
        "modules_in_series: [90, 95]",
        "fail the check of bounds: 'modules_in_series: round_down(modules_that_fit)' comes to",
    ),
    "caution left out": (", local-code-decides]", "]", "the caution 'local-code-decides' is missing"),
    "power too large": ("module_voc * 1.25", "module_voc * 2 ^ 99", "cannot be read from here on"),
    "division by nothing": (
        "input_voltage_max / cold_voltage\n",
        "input_voltage_max / (cold_voltage - cold_voltage)\n",
        "a divisor is zero",
    ),
}

# The same of an exercise that asks for a conductor, and how its device protects it.
UNPROTECTED = {
    "no protection declared": (
        """protection:
  conductors: [conductor_size]
  load: run_current
  device: device_rating
  insulation: insulation_rating
  terminals: terminal_rating
  ambient: ambient
  grouped: conductors_grouped
""",
        "",
        "the size of a conductor, 'size_for_terminals', and does not say which device protects it",
    ),
    "protection by what is not there": (
        "  load: run_current",
        "  load: continuous_current",
        "'continuous_current' is neither a given nor a relation here",
    ),
    "protection of nothing": (
        "  conductors: [conductor_size]\n  load",
        "  load",
        "name 'conductors', or an 'ampacity'",
    ),
    "protection without a column": ("  insulation: insulation_rating\n", "", "'insulation' is missing"),
    "protection of no load and by no device": (
        "  load: run_current\n  device: device_rating\n",
        "",
        "name the 'load' that a device has to suit, or the 'device'",
    ),
    "conductor sized for its load alone": (
        "ampacity_for_device: device_rating /",
        "ampacity_for_device: run_current /",
        "may not protect this conductor",
    ),
    "conductor sized for cooler air": (
        "ambient_factor: look_up(ambient_factor, ambient, insulation_rating)",
        "ambient_factor: look_up(ambient_factor, ambient - 20 K, insulation_rating)",
        "may not protect this conductor",
    ),
    "conductor judged without its neighbors": (
        "conductor_size: greatest(size_for_terminals, size_for_device)",
        "conductor_size: greatest(size_for_terminals, size_for_terminals)",
        "may not protect this conductor",
    ),
    "device smaller than its load": (
        "device_rating: first_at_least(standard_ratings, run_current)",
        "device_rating: first_at_least(standard_ratings, 0.8 * run_current)",
        "the load needs a",
    ),
    "conductor thicker than needed": (
        "size_for_device: first_size(ampacity, ampacity_for_device, insulation_rating)",
        "size_for_device: first_size(ampacity, 1.5 * ampacity_for_device, insulation_rating)",
        "the smallest conductor that will do is",
    ),
    "a breaker's rule for fuses": (
        "  grouped: conductors_grouped\n",
        "  grouped: conductors_grouped\n  devices: fuses\n",
        "may not protect this conductor",
    ),
}


# fault: the order that is broken, what is replaced, by what, the words that name the fault
ORDERS = {
    "source forgotten": (
        "switching-off",
        "  supply: {opening: open-supply, lock: lock-all, measurement: measure-dead}\n",
        "",
        "nothing says how the supply is made safe",
    ),
    "source only in the story": (
        "replacing-a-module",
        "A qualified person does the work.",
        "A generator charges the rest.",
        "nothing says how the generator is made safe",
    ),
    "lock that a problem may leave out": (
        "switching-off",
        "open-battery, lock-all, wait",
        "open-battery, wait",
        "the lock of the array is not an indispensable action",
    ),
    "lock that locks nothing": (
        "switching-off",
        "lock: lock-all, measurement: measure-dead}\n  battery",
        "lock: wait-capacitors, measurement: measure-dead}\n  battery",
        "the lock of the supply does not say 'lock'",
    ),
    "measurement that does not exist": (
        "replacing-a-module",
        "measurement: measure-current}",
        "measurement: measure-nothing}",
        "the measurement of the array is not an indispensable action",
    ),
    "measurement too soon": (
        "replacing-a-module",
        "  - {first: open-disconnect, then: measure-current, ",
        "  - {first: open-disconnect, then: lift-off, ",
        "the measurement of the array may come before its opening",
    ),
    "story that leaves a source unlocked": (
        "switching-on",
        "are locked open,",
        "are open,",
        "the lock of the array is left to the story, which does not say 'lock'",
    ),
    "measurement left to the story": (
        "switching-on",
        "  supply: {opening: story, lock: story, measurement: check-polarity}",
        "  supply: {opening: story, lock: story, measurement: story}",
        "the measurement of the supply is not an indispensable action",
    ),
    "indispensable, but no action": ("switching-off", "[open-array,", "[open-roof,", "'open-roof' is not one of"),
    "more indispensable than shown": ("switching-off", "shown: 9", "shown: 6", "'shown' has to lie between"),
    "caution of what the story mentions missing": (
        "switching-on",
        "cabin's system stands ready",
        "system on a roof stands ready",
        "the caution 'roof-work' is missing, which goes with 'roof'",
    ),
    "caution of a source missing": (
        "switching-off",
        "battery-fault-current, ",
        "",
        "the caution 'battery-fault-current' is missing, which goes with 'battery'",
    ),
}


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], catch_exceptions=False)


def broken_copy(folder, old, new, sound=SOUND):
    text = sound.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"the fault has to be made in one place: {old}"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / sound.name).write_text(text.replace(old, new), encoding="utf-8")
    return folder / sound.name


def test_the_exercise_that_the_copies_are_made_from_is_sound():
    done = run("verify", SOUND, "--draws", "100")
    assert done.exit_code == 0, done.output
    assert "4 questions" in done.output
    assert "holds" in done.output


@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    ("old", "new", "words"), [*AT_ONCE.values(), *WHEN_PROVED.values()], ids=[*AT_ONCE, *WHEN_PROVED]
)
def test_a_broken_copy_is_caught_and_its_fault_named(tmp_path, old, new, words):
    path = broken_copy(tmp_path, old, new)
    done = run("verify", path, "--draws", DRAWS)
    assert done.exit_code == 1, done.output
    assert "FAULT" in done.output
    assert words in done.output


def test_the_conductor_that_the_copies_are_made_from_is_sound():
    done = run("verify", CONDUCTOR, "--draws", "100")
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize(("old", "new", "words"), UNPROTECTED.values(), ids=UNPROTECTED)
def test_a_conductor_that_could_not_be_protected_is_caught(tmp_path, old, new, words):
    path = broken_copy(tmp_path, old, new, CONDUCTOR)
    done = run("verify", path, "--draws", "100")
    assert done.exit_code == 1, done.output
    assert words in done.output


def test_where_no_device_protects_a_conductor_the_reason_may_be_given_instead(tmp_path):
    old, _, _ = UNPROTECTED["no protection declared"]
    path = broken_copy(tmp_path, old, "protection: The device stands elsewhere.\n", CONDUCTOR)
    assert run("verify", path, "--draws", "10").exit_code == 0


@pytest.mark.parametrize(("old", "new", "words"), AT_ONCE.values(), ids=AT_ONCE)
def test_a_broken_copy_in_an_own_folder_is_told_on_one_line(tmp_path, old, new, words):
    broken_copy(tmp_path / "exercises" / "own", old, new)
    done = run("exercises", "--content", tmp_path)
    assert done.exit_code == 2
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert "line " in done.stderr


@pytest.mark.parametrize("fault", ["unknown function", "unknown source", "reason missing", "bounds empty"])
def test_the_line_of_a_fault_is_told(tmp_path, fault):
    old, new, _ = {**AT_ONCE, **WHEN_PROVED}[fault]
    path = broken_copy(tmp_path, old, new)
    told = json.loads(run("verify", path, "--draws", "1", "--json").output)[0]["faults"][0]
    if fault == "reason missing":
        new = "modules_that_fit: input_voltage_max"
    line = path.read_text(encoding="utf-8").split(new)[0].count("\n") + 1
    assert f"line {line}:" in told


@pytest.mark.parametrize(("exercise", "old", "new", "words"), ORDERS.values(), ids=ORDERS)
def test_an_order_that_leaves_a_source_alive_is_refused_with_its_line(tmp_path, exercise, old, new, words):
    sound = content_root() / "exercises" / "switch-on-order" / f"{exercise}.yaml"
    text = sound.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"the fault has to be made in one place: {old}"
    folder = tmp_path / "exercises" / "own"
    folder.mkdir(parents=True)
    copy = folder / sound.name
    copy.write_text(text.replace(old, new), encoding="utf-8")
    done = run("verify", copy, "--draws", DRAWS)
    assert done.exit_code == 1
    assert f"{copy}, line " in done.output
    assert words in done.output


def test_the_report_as_json_has_the_figures_of_the_table():
    report = json.loads(run("verify", SOUND, "--draws", "20", "--json").output)[0]
    assert report["exercise"] == "sound-exercise"
    assert (report["questions"], report["faults"]) == (4, [])
    assert report["draws"] >= 4 * 20
    assert 0 <= report["kept_apart"] <= report["draws"]


@pytest.mark.parametrize("draws", [2, pytest.param(25, marks=pytest.mark.long)])
def test_every_built_in_exercise_holds(draws):
    done = run("verify", "--draws", str(draws))
    assert done.exit_code == 0, done.output


def test_a_folder_stands_for_its_exercise_files():
    folder = content_root() / "exercises" / "hot-voltage"
    reports = list(verify_all([folder], 1, None))
    assert [report.exercise for report in reports] == sorted(file.stem for file in folder.glob("*.yaml"))
    assert len(reports) > 3


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"source": ""}, "a row without a source"),
        ({"standing": ""}, "a row without a standing, ''"),
        ({"standing": "memory"}, "a row without a standing, 'memory'"),
        ({"note": "25 A (from memory)"}, "'from memory' tells how far a source was checked"),
    ],
)
def test_a_table_without_standing_is_refused(cells, words):
    table = rulebook("us").tables["ampacity"]
    assert not list(table_faults(table))
    broken = replace(table, rows=({**table.rows[0], **cells}, *table.rows[1:]))
    (fault,) = table_faults(broken)
    assert words in fault
    assert "'ampacity', 14 AWG" in fault


def test_every_table_of_every_rulebook_tells_its_standing():
    for book in RULEBOOKS:
        for table in rulebook(book).tables.values():
            assert not list(table_faults(table))


@pytest.mark.parametrize("standing", [None, "memory", "", "read, I think"])
def test_a_source_without_standing_is_no_source(standing):
    source = {"citation": "NFPA 70-2017 240.6(A)"} | ({} if standing is None else {"standing": standing})
    with pytest.raises(ValidationError, match="standing"):
        Source(**source)
