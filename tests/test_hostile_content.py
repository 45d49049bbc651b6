"""Attacks by content: files made to hang, to fill the memory, or to raise errors of the language. Each ends in words.

Every case has a clock of its own, so that a hole fails the test instead of stopping the run.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from itertools import pairwise
from multiprocessing import active_children
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import ANY

import pytest
from click.testing import CliRunner

from tutor.base.paths import content_root
from tutor.base.units import UnitError, conversion
from tutor.classroom.errors import ClassError
from tutor.classroom.roster.names import tidy
from tutor.classroom.roster.tables import read_roster
from tutor.classroom.sets.set_files import read_set
from tutor.cli import main
from tutor.content.errors import ContentError
from tutor.content.files import read_text
from tutor.content.library import MOST_FILES, load
from tutor.expression.grammar import parse
from tutor.expression.tree import RelationError
from tutor.problems import declaration, proving
from tutor.problems.proving import load_proved
from tutor.tools import verify
from tutor.trade.transfer import Load, Point, System, simulate

SOUND = Path(__file__).parent / "corpora" / "faulty_exercises" / "sound-exercise.yaml"
AT_THE_MOST = 90  # seconds for one case, on a busy machine
COLD = "  cold_voltage: module_voc * (1 + voc_coefficient * (record_low - 25 degC))\n"
FLAT = "{cold_voltage: module_voc * 1.25}"
GIVEN = "  input_voltage_max: "
LIMIT = GIVEN + "charger"
WARMTH, OTHER, THIRD = (f"(1 + voc_coefficient * (record_low - {reference} degC))" for reference in (25, 20, 15))


@pytest.fixture(autouse=True)
def clock():
    def out_of_time(*_):
        raise TimeoutError(f"the attack holds out for more than {AT_THE_MOST} s")

    before = signal.signal(signal.SIGALRM, out_of_time)
    signal.alarm(AT_THE_MOST)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


# attack: what is replaced, by what, and the words that name the fault
ATTACKS = {
    "a step of 1e-7": (LIMIT, GIVEN + "{lowest: 100 V, highest: 600 V, step: 0.0000001 V}", "2000 values"),
    "a range of 1e11": (LIMIT, GIVEN + "{lowest: 100 V, highest: 100000000000 V, step: 1 V}", "2000 values"),
    "a range without end": (
        LIMIT,
        GIVEN + "{lowest: -1.0e+308, highest: 1.0e+308, step: 1.0e-308}",
        "2000 values",
    ),
    "a list of 101 values": (LIMIT, f"{GIVEN}{{one_of: [{', '.join(['450 V'] * 101)}]}}", "at most 100 are read"),
    "a list of a million": (LIMIT, f"{GIVEN}{{one_of: [{'1,' * 10**6}1]}}", "larger than 256 KiB"),
    "a number of 400 digits": (LIMIT, f"{GIVEN}{{one_of: [{'9' * 400}]}}", "a finite number is expected"),
    "a bound of 400 digits": ("[3, 18]", f"[3, {'9' * 400}]", "within.modules_in_series.1"),
    "bounds turned round": ("[3, 18]", "[18, 3]", "are empty"),
    "bounds beyond the glossary": ("[3, 18]", "[3, 1000000]", "reach beyond the glossary's"),
    "a unit beyond numbers": (LIMIT, GIVEN + '{one_of: ["450 Ym^9*Ym^9"]}', "too large or too small a unit"),
    "a unit of nothing": (LIMIT, GIVEN + '{one_of: ["450 ym^9*ym^9*ym^9"]}', "too large or too small a unit"),
    "ninth powers": (FLAT, "{cold_voltage: module_voc * ((9^9)^9)^9}", "powers of powers may come to 9"),
    "ninth powers of names": (COLD, f"  cold_voltage: module_voc * (({WARMTH}^9)^9)^9\n", "powers of powers may come"),
    "a power beyond numbers": (
        COLD,
        f"  cold_voltage: module_voc * ({' * '.join(['9' * 15] * 3)})^9\n",
        "OverflowError",
    ),
    "a sum of 200 ones": (FLAT, f"{{cold_voltage: module_voc * (1{'+1' * 200})}}", "nested 30 deep"),
    "a hundred parts": (FLAT, f"{{cold_voltage: module_voc * {' * '.join(['(1+1+1+1)'] * 12)}}}", "80 numbers, names"),
    "500 minus signs": (FLAT, f"{{cold_voltage: {'-' * 500}module_voc}}", "nested 30 deep"),
    "brackets 40 deep": (FLAT, f"{{cold_voltage: module_voc * {'(1 + ' * 35}1{')' * 35}}}", "nested 30 deep"),
    "a factor of 400 digits": (FLAT, f"{{cold_voltage: module_voc * 1.{'2' * 400}}}", "is too long"),
    "a unit of 300 letters": (FLAT, f"{{cold_voltage: module_voc * 1 {'m' * 300}}}", "longer than 20 characters"),
    "a relation of 9000 signs": (FLAT, f"{{cold_voltage: module_voc{' ' * 9000}* 1.25}}", "may have 600 characters"),
    "digits of another script": (FLAT, "{cold_voltage: module_voc * ١٢}", "cannot be read from here on"),
    "a letter that looks alike": (FLAT, "{cold_voltage: mоdule_voc * 1.25}", "cannot be read from here on"),
    "a name that looks alike": ("  module_vmp: module\n", "  mоdule_vmp: module\n", "use lower-case letters"),
    "10,000 relations": (COLD, COLD + "".join(f"  a{n}: module_voc\n" for n in range(10_000)), "at most 16 are read"),
    "30 asks": ("asks:\n", "asks:\n" + "".join(f"  a{n}: What?\n" for n in range(30)), "at most 8 are read"),
    "900 hints": ("hints:\n", "hints:\n" + "  - Look.\n" * 900, "at most 6 are read"),
    "9,000 cautions": ("[cold-overvoltage,", f"[{'cold-overvoltage, ' * 9000}", "at most 24 are read"),
    "9,000 rulebooks": ("level: 2", f"level: 2\nrulebooks: [{'us, ' * 9000}us]", "at most 2 are read"),
    "50 slips": (
        "mistakes:\n",
        "mistakes:\n"
        + "".join(
            f"  m{n}: {{swap: {{module_voc: module_vmp}}, words: a slip, says: Why is that?, "
            f"also: [{', '.join(['{swap: {module_voc: module_vmp}}'] * 6)}]}}\n"
            for n in range(7)
        ),
        "40 is the most",
    ),
    "a sentence of 200 kB": ("title: The", f"title: {'The ' * 50_000}", "longer than 1200 characters"),
    "a key of 9000 letters": ("level: 2", f"level: 2\n{'k' * 900}: 2", "longer than 60 characters"),
    "no draw agrees": (
        "  module_voc: module\n  module_vmp: module\n",
        '  module_voc: {one_of: ["41 V"]}\n  module_vmp: {one_of: ["50 V"]}\n',
        "passes its screening",
    ),
    "no draw keeps its bounds": ("[3, 18]", "[59, 60]", "fail the check of bounds: 'modules_in_series: "),
}


def attacked(folder, old, new, why=""):
    text = SOUND.read_text(encoding="utf-8")
    assert text.count(old) == 1, f"the attack has to be made in one place: {old}"
    folder.mkdir(parents=True)
    path = folder / SOUND.name
    path.write_text(text.replace(old, new).replace("why:\n", f"why:\n{why}"), encoding="utf-8")
    return path


def verified(path, *options):
    """The one fault that `verify` names, and the seconds that it took."""
    began = time.perf_counter()
    done = CliRunner().invoke(main, ["verify", str(path), "--draws", "2", "--json", *options], catch_exceptions=False)
    faults = json.loads(done.output)[0]["faults"]
    assert done.exit_code == 1
    return faults[0], time.perf_counter() - began


@pytest.mark.one_in(2)
@pytest.mark.parametrize(("old", "new", "words"), ATTACKS.values(), ids=ATTACKS)
def test_an_attack_by_an_exercise_ends_in_a_sentence_with_file_line_and_mend(tmp_path, old, new, words):
    path = attacked(tmp_path / "own", old, new)
    told, _ = verified(path)
    assert words in told
    assert told.startswith(str(path))
    assert told.endswith(".")
    assert len(told) < 600
    assert ", line " in told or "larger than" in told


def chain(of):
    """Relations each of which names the one before so many times: put into one another they grow without bound."""
    names = ["cold_voltage", "hot_voltage", "vmp_at_temperature", "voc_at_temperature", "hot_string_voltage"]
    names += ["cold_string_voltage", "string_vmp", "voltage_room"]
    return {name: f"({' + '.join([before] * of)}) / {of}" for before, name in pairwise(names)}


def with_relations(folder, cold, relations, other=()):
    """The exercise with another first relation and further ones, each with its reason."""
    lines = "".join(f"  {name}: {text}\n" for name, text in relations.items())
    why = "".join(f"  {name}: It is so.\n" for name in relations)
    path = attacked(folder, COLD, f"  cold_voltage: {cold}\n{lines}", why)
    text = path.read_text(encoding="utf-8")
    for old, new in other:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def test_relations_that_grow_when_they_are_put_into_one_another_are_refused(tmp_path):
    """Turned round, the last of seven relations of thirteen names each would have 13^7 terms."""
    both = "(voltage_room + cold_voltage)"
    other = [
        ("input_voltage_max / cold_voltage", f"input_voltage_max / {both}"),
        ("modules_in_series * cold_voltage <=", f"modules_in_series * {both} <="),
    ]
    path = with_relations(tmp_path / "own", f"module_voc * {WARMTH}", chain(of=13), other)
    told, _ = verified(path)
    assert "too long together to be turned round to record_low" in told


def test_a_circle_that_only_a_question_turned_round_meets_is_told(tmp_path):
    circle = {"voltage_room": "hot_voltage + cold_voltage", "hot_voltage": "voltage_room - cold_voltage"}
    path = with_relations(tmp_path / "own", f"voltage_room / voltage_room * module_voc * {WARMTH}", circle)
    told, _ = verified(path)
    assert "go round in a circle" in told


# Turned round to the record low: sympy has no answer to it within minutes.
ENDLESS = f"module_voc * {WARMTH}^3 / {OTHER}^2 + module_vmp * {THIRD}^2 / {WARMTH}"


@pytest.fixture
def endless(tmp_path, monkeypatch):
    """A folder of content with an exercise that the symbolic algebra does not come to an end with."""
    monkeypatch.setattr(proving, "SECONDS_FOR_ONE", 4)
    with_relations(tmp_path / "exercises" / "own", ENDLESS, {})
    return tmp_path


SET = "id: one\ntitle: One\nitems:\n  - exercise: most-modules-in-series\n"
COMMANDS = {
    "exercises": ["exercises"],
    "problem": ["problem", "most-modules-in-series"],
    "mark": ["mark", "most-modules-in-series", "--answer", "9"],
    "working": ["working", "most-modules-in-series", "-"],
    "set": ["set", "check", "SET"],
    "trial": ["diagnose-trial", "--learners", "1"],
    "server": ["--no-browser"],
}


@pytest.mark.one_in(4)
@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_algebra_that_comes_to_no_end_ends_every_command_with_a_sentence(endless, tmp_path, command):
    (tmp_path / "set.yaml").write_text(SET, encoding="utf-8")
    arguments = [str(tmp_path / "set.yaml") if part == "SET" else part for part in command]
    done = CliRunner().invoke(main, [*arguments, "--content", str(endless)], input="1 V\n", catch_exceptions=False)
    assert done.exit_code == 2
    assert "sound-exercise.yaml, line 1: checking this exercise takes more than 4 s" in done.stderr
    assert done.stderr.count("\n") == 1
    assert not active_children()


def test_what_differs_under_another_rulebook_is_proved_too(endless):
    path = endless / "exercises" / "own" / SOUND.name
    text = SOUND.read_text(encoding="utf-8")
    path.write_text(f"{text}in_rulebook: {{iec: {{relations: {{cold_voltage: {ENDLESS}}}}}}}\n", encoding="utf-8")
    with pytest.raises(ContentError, match="takes more than 4 s"):
        load_proved(endless)


def test_the_process_that_proves_gets_no_more_memory_than_its_share():
    code = "from tutor.problems.proving import bound_memory; bound_memory(); bytearray(6 << 30)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "MemoryError" in done.stderr


def test_what_comes_after_an_endless_exercise_is_verified_all_the_same(endless):
    folder = endless / "exercises" / "own"
    (folder / "another.yaml").write_text("id: another\n", encoding="utf-8")
    (folder / "z.yaml").write_text("id: z\n", encoding="utf-8")
    done = CliRunner().invoke(main, ["verify", str(folder), "--draws", "1", "--json"], catch_exceptions=False)
    told = {report["exercise"]: report["faults"] for report in json.loads(done.output)}
    assert "takes more than 4 s" in told["sound-exercise"][0]
    assert "this field is missing" in told["another"][0]
    assert "this field is missing" in told["z"][0]


def test_an_exercise_whose_process_the_system_ends_is_told_and_the_next_one_is_proved(endless, monkeypatch):
    monkeypatch.setattr(proving, "SECONDS_FOR_ONE", 50)
    folder = endless / "exercises" / "own"
    for name in ("another", "z"):
        (folder / f"{name}.yaml").write_text(f"id: {name}\n", encoding="utf-8")
    faults = proving.proofs(sorted(folder.glob("*.yaml")), None)
    assert "this field is missing" in str(next(faults))
    active_children()[0].kill()
    assert "or too much memory" in str(next(faults))
    assert "this field is missing" in str(next(faults))
    assert list(faults) == []


def test_draws_that_take_too_long_are_a_fault(monkeypatch):
    monkeypatch.setattr(verify, "SECONDS_TO_BEGIN", 0)
    monkeypatch.setattr(verify, "SECONDS_FOR_A_DRAW", 0)
    told, _ = verified(SOUND)
    assert "drawing a problem takes too long" in told


def test_many_slow_exercises_share_one_time(endless, monkeypatch):
    monkeypatch.setattr(proving, "SECONDS_FOR_ALL", 6)
    folder = endless / "exercises" / "own"
    text = (folder / SOUND.name).read_text(encoding="utf-8")
    for at in range(40):
        (folder / f"slow-{at}.yaml").write_text(text.replace("id: sound-exercise", f"id: slow-{at}"), encoding="utf-8")
    began = time.perf_counter()
    faults = list(proving.proofs(sorted(folder.glob("*.yaml")), None))
    assert len(faults) == 41
    assert time.perf_counter() - began < 20
    assert "takes more than 6 s. Split the folder." in str(faults[-1])


def test_an_exercise_that_raises_an_error_of_the_language_is_a_faulty_exercise(tmp_path, monkeypatch):
    path = attacked(tmp_path / "exercises" / "own", "level: 2", "level: 1")

    def broken(*_):
        raise RecursionError

    monkeypatch.setattr(declaration, "check_declaration", broken)
    monkeypatch.setattr(proving, "bound_memory", lambda: None)  # here it would bound all later tests
    monkeypatch.setattr(proving.signal, "signal", lambda *_: None)
    faults = []
    proving._prove_each([path], None, SimpleNamespace(send=faults.append))
    assert faults == [(path, 1, "the exercise cannot be calculated (RecursionError).", ANY)]


# ---- days and orders

DAY = content_root() / "exercises" / "transfer" / "source-at-a-moment.yaml"
ORDER = content_root() / "exercises" / "switch-on-order" / "switching-on.yaml"


@pytest.mark.one_in(3)
@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("  end: 30 h", "  end: 1000000000 h", None),
        ("  events:\n", "  events:\n" + "    - {at: 1 h, load: 100 W}\n" * 5000, "day.events: at most 12 are read"),
        ("  end: 30 h", f"  end: {'9' * 50} h", None),
        ("  end: 30 h", f"  end: {'9' * 300} h", "day.end"),
        ("    inverter_power: 2000 W", "    inverter_power: 0 W", "passes its screening"),
        ("    transfer_time: 20 ms", "    transfer_time: 0 s", None),
    ],
)
def test_a_day_without_end_is_simulated_or_refused(tmp_path, old, new, words):
    text = DAY.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / DAY.name
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    fault = next(proving.proofs([path], None))
    assert fault is None if words is None else words in str(fault)


def test_an_order_of_forty_actions_is_refused(tmp_path):
    text = ORDER.read_text(encoding="utf-8")
    more = "".join(f"  another-{at}: Do it.\n" for at in range(40))
    path = tmp_path / ORDER.name
    path.write_text(text.replace("actions:\n", f"actions:\n{more}"), encoding="utf-8")
    assert "actions: at most 14 are read here" in str(next(proving.proofs([path], None)))


# ---- files

LESSON = (content_root() / "lessons" / "cold-voltage" / "lesson.md").read_text(encoding="utf-8")


def own_lesson(folder, text):
    (folder / "lessons" / "own").mkdir(parents=True)
    path = folder / "lessons" / "own" / "lesson.md"
    path.write_text(text.replace("id: cold-voltage", "id: own-lesson"), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("word " * 400, "line is longer than 1200 characters"),
        ("> " * 500, "nested too deep"),
        (" " * 900 + "- x", "nested too deep"),
        ("{figure}\n" * 5000, "'{figure}' more than once"),
        ("words\n" * 15_000, "longer than 65536 characters"),
        ("words\n" * 20_000_000, "larger than 256 KiB"),
    ],
    ids=["line", "quotes", "indent", "figures", "words", "100 MB"],
)
def test_a_lesson_that_no_browser_could_lay_out_is_refused_with_its_line(tmp_path, more, words):
    path = own_lesson(tmp_path, f"{LESSON}\n{more}\n")
    with pytest.raises(ContentError, match=words) as caught:
        load(tmp_path)
    assert caught.value.path == path
    assert caught.value.mend


def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.yaml")
    with pytest.raises(ContentError, match="it is no regular file"):
        read_text(tmp_path / "pipe.yaml")


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/random", "/dev/tty"])
def test_a_device_in_the_place_of_a_file_is_not_read(tmp_path, device):
    (tmp_path / "device.yaml").symlink_to(device)
    with pytest.raises(ContentError, match="cannot be read"):
        read_text(tmp_path / "device.yaml")


def test_a_folder_of_very_many_files_is_refused(tmp_path):
    folder = tmp_path / "exercises" / "own"
    folder.mkdir(parents=True)
    for at in range(MOST_FILES + 1):
        (folder / f"e{at}.yaml").touch()
    with pytest.raises(ContentError, match="more than 500 files"):
        load_proved(tmp_path)
    done = CliRunner().invoke(main, ["verify", str(folder)], catch_exceptions=False)
    assert done.exit_code == 2
    assert "more than 500 files" in done.stderr


# ---- sets and rosters


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SET + "  - exercise: most-modules-in-series\n" * 5000, "at most 60 are read"),
        (SET + "    problems: 1000000000\n", "less than or equal to 60"),
        (SET + f"    problems: {'9' * 5000}\n", "Unable to parse"),
        (SET + f"zone: {'../' * 9000}etc/passwd\n", "There is no time zone"),
        (SET + f"zone: {'A' * 90_000}\n", "There is no time zone"),
        (SET + f"opens: {'9' * 90_000}\n", "opens"),
        (SET.replace("One", "One " * 9000), "longer than 1200 characters"),
        (SET + "help: &a [*a]\n", "anchors and aliases"),
        (SET + "x" * 300_000, "larger than 256 KiB"),
        (SET.replace("most-modules", "mоst-modules"), "use lower-case letters"),
        ("[" * 200_000, "exceeded maximum nesting depth"),
    ],
)
def test_an_attack_by_a_practice_set_ends_in_a_sentence(tmp_path, library, text, words):
    with pytest.raises(ContentError, match=re.escape(words)) as caught:
        read_set(tmp_path / "set.yaml", library, text)
    assert len(str(caught.value)) < 600


def test_a_roster_of_one_endless_row_is_refused():
    for text in ("," * 5_000_000, "name\n" + "," * 5_000_000):
        with pytest.raises(ClassError, match="at most 200 are read"):
            read_roster(text.encode())


def test_letters_with_thousands_of_marks_are_cut_in_linear_time():
    """Composing takes the square of the number of marks on one letter; UAX #15 allows 30 of them in a stream."""
    name = "a" + "\u0315\u0300" * 4_000
    began = time.perf_counter()
    roster = read_roster(("name\n" + f"{name}\n" * 400).encode())
    assert time.perf_counter() - began < 10
    assert len(roster.members) == 1
    assert len(roster.members[0].name) <= 31
    assert tidy("Zoë e\u0301") == "Zoë é"


@pytest.mark.parametrize("unit", ["Ym^9*Ym^9", "ym^9*ym^9*ym^9"])
def test_a_unit_that_no_number_can_hold_is_unknown(unit):
    with pytest.raises(UnitError, match="too large or too small"):
        conversion(unit)


def test_a_relation_of_the_largest_size_is_read_at_once():
    with pytest.raises(RelationError, match="600 characters"):
        parse("1 + " * 100_000 + "1")
    assert parse(" + ".join(["(1 + 1)"] * 20))


@pytest.mark.parametrize(
    ("system", "point", "end", "stored"),
    [
        # A battery of 0.03 J that is charged with 6 kW between two cut-offs, for years.
        (
            {"inverter_power": 6e7, "battery_capacity": 0.03, "charge_power": 6000.0, "transfer_time": 3.5},
            Point(0.0, (68_000.0,), 0.0, True),
            1e9,
            0.01,
        ),
        # Rounding lets no time pass: the battery is full before the clock has moved by its last digit.
        (
            {
                "inverter_power": 326.699855507309,
                "battery_capacity": 1.833570593209982e-09,
                "idle_power": 5.490369098044409e-06,
                "battery_discharge_efficiency": 0.5,
                "overload_power": 1518247266.191189,
                "charge_power": 125376087.02867335,
            },
            Point(0.0, (1.0,), 3.540771583614932e-08, True),
            0.8140710044652636,
            1.3872573431489568e-09,
        ),
    ],
)
def test_a_day_of_endless_cycles_is_given_up(system, point, end, stored):
    with pytest.raises(ValueError, match="more happens in this day than can be followed"):
        simulate(System((Load("light", 54268306.0),), **system), [point], end, stored)
