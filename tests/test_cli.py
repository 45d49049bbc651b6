"""The commands as people type them: their JSON, their exit codes, and one line for a request that cannot be met."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tutor.cli import main

CORPORA = Path(__file__).parent / "corpora" / "faulty_exercises"
MOST = "most-modules-in-series"
COLD = {"module_voc": "41.3 V", "voc_coefficient": "-0.27 %/K", "record_low": "-24 degC", "input_voltage_max": "450 V"}


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], catch_exceptions=False)


def given(**amounts):
    return [part for name, text in amounts.items() for part in ("--given", f"{name}={text}")]


def told(*arguments):
    done = run(*arguments, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.output)


def step(problem, name):
    return next(line for line in problem["solution"] if line["name"] == name)


# Plain arithmetic on the label: 41.3 V * (1 + 0.0027 * 49) = 46.76399 V; 450 / 46.76399 = 9.6228; (45/41.3 - 1)/0.0027
# = 33.18 K below 25 °C = -8.18 °C for ten modules of at most 45 V each.
@pytest.mark.parametrize("record_low", ["-24 degC", "-11.2 degF", "-24 °C", "−11,2 °F", "249.15 K"])
def test_the_longest_string_for_a_cold_morning(record_low):
    problem = told("problem", MOST, *given(**COLD | {"record_low": record_low}), "--solution")
    assert problem["answer"] == {"value": 9.0, "unit": "", "text": "9"}
    assert step(problem, "cold_voltage")["text"] == "46.76\u00a0V"
    assert step(problem, "cold_voltage")["value"] == pytest.approx(46.76399, rel=1e-9)
    assert step(problem, "modules_that_fit")["value"] == pytest.approx(450 / 46.76399, rel=1e-9)
    assert step(problem, "limit")["value"] is True


def test_a_temperature_is_shown_in_the_unit_typed():
    shown = [told("problem", MOST, *given(record_low=text))["givens"]["record_low"] for text in ("-11.2 degF", "249 K")]
    assert shown[0] == {"value": -11.2, "unit": "degF", "text": "−11.2\u00a0°F"}
    assert shown[1] == {"value": pytest.approx(-24.15), "unit": "degC", "text": "−24.15\u00a0°C"}


def test_the_coldest_morning_that_ten_modules_survive():
    own = {name: text for name, text in COLD.items() if name != "record_low"} | {"modules_in_series": "10"}
    problem = told("problem", MOST, "--ask", "record_low", *given(**own), "--solution")
    assert problem["answer"]["value"] == pytest.approx(25 - (45 / 41.3 - 1) / 0.0027, rel=1e-9)
    assert problem["answer"]["unit"] == "degC"
    assert "record_low" not in problem["givens"]


def test_ten_modules_are_wrong_and_the_ways_that_lead_there_are_listed_without_claiming_one():
    marking = told("mark", MOST, *given(**COLD), "--answer", "10")
    assert marking["verdict"] == "wrong"
    assert marking["named"] is None
    assert {mistake["id"] for mistake in marking["mistakes"]} == {"rounded-up", "cold-left-out"}
    assert [mistake["probability"] for mistake in marking["mistakes"]] == sorted(
        (mistake["probability"] for mistake in marking["mistakes"]), reverse=True
    )
    assert "which was yours" in marking["feedback"].lower()
    assert "breaks a limit" in marking["feedback"]


def test_nine_modules_are_right_and_a_wrong_answer_is_no_failure_of_the_command():
    assert told("mark", MOST, *given(**COLD), "--answer", "9 modules")["verdict"] == "right"
    assert run("mark", MOST, *given(**COLD), "--answer", "10").exit_code == 0


# Common practice, no source: the figures that people of the trade work with by hand.
def test_operating_voltage_into_a_best_voltage_takes_the_next_whole_module():
    own = given(module_vmp="28 V", input_voltage_best="200 V", hottest_cell="26 degC", vmp_coefficient="-0.05 %/K")
    problem = told("problem", "fewest-modules-in-series", *own, "--solution")
    assert problem["answer"]["value"] == 8
    assert pytest.approx(7.14, abs=0.005) == 200 / 28
    marking = told("mark", "fewest-modules-in-series", *own, "--answer", "7")
    assert marking["verdict"] == "wrong"
    assert "rounded" in " ".join(mistake["words"] for mistake in marking["mistakes"])


# Common practice, no source.
@pytest.mark.parametrize(
    ("record_low", "count", "each", "fit"),
    [
        ("25 degC", 15, 33, 15.15),
        ("-2.4 degC", 14, 35.7126, 14.0007),
        ("-2.5 degC", 13, 35.7225, 13.9968),
        ("-25 degC", 13, 37.95, 13.1752),
    ],
)
def test_an_open_circuit_voltage_into_an_input_limit(record_low, count, each, fit):
    own = given(module_voc="33 V", voc_coefficient="-0.30 %/K", input_voltage_max="500 V", record_low=record_low)
    problem = told("problem", MOST, *own, "--solution")
    assert problem["answer"]["value"] == count
    assert step(problem, "cold_voltage")["value"] == pytest.approx(each, rel=1e-9)
    assert step(problem, "modules_that_fit")["value"] == pytest.approx(fit, abs=0.002)


# Common practice, no source.
def test_fourteen_modules_hold_down_to_a_morning_and_no_colder():
    own = given(module_voc="33 V", voc_coefficient="-0.30 %/K", input_voltage_max="500 V", modules_in_series="14")
    problem = told("problem", MOST, "--ask", "record_low", *own, "--solution")
    assert problem["answer"]["value"] == pytest.approx(25 - (500 / 14 / 33 - 1) / 0.003, rel=1e-9)
    assert problem["answer"]["value"] == pytest.approx(-2.4, abs=0.05)
    for answer, verdict in (("-2.4 °C", "right"), ("-2.5 °C", "wrong"), ("28 °F", "right"), ("27.5 °F", "wrong")):
        assert told("mark", MOST, "--ask", "record_low", *own, "--answer", answer)["verdict"] == verdict


# Common practice, no source.
def test_taking_one_off_is_recognised():
    own = given(module_voc="33 V", voc_coefficient="-0.30 %/K", input_voltage_max="500 V", record_low="-25 degC")
    marking = told("mark", MOST, *own, "--answer", "14")
    assert marking["verdict"] == "wrong"
    assert "one-off-for-safety" in {mistake["id"] for mistake in marking["mistakes"]}


def test_the_json_of_a_problem_has_the_agreed_keys():
    problem = told("problem", MOST, "--number", "3")
    assert list(problem) == [
        *("exercise", "version", "number", "rulebook", "story", "givens", "asks", "ask", "steps", "safety"),
    ]
    assert (problem["exercise"], problem["number"], problem["rulebook"]) == (MOST, 3, "us")
    assert {tuple(amount) for amount in problem["givens"].values()} == {("value", "unit", "text")}
    assert {tuple(caution) for caution in problem["safety"]} == {("id", "text")}
    assert problem["steps"] == ["cold_voltage", "modules_that_fit", "modules_in_series"]
    solved = told("problem", MOST, "--number", "3", "--solution")
    assert list(solved) == [*problem, "answer", "solution"]
    assert list(solved["answer"]) == ["value", "unit", "text"]
    keys = ["name", "kind", "why", "relation", "numbers", "value", "unit", "text", "source", "near"]
    assert all(list(line) == keys for line in solved["solution"])


def test_the_json_of_a_marking_has_the_agreed_keys():
    marking = told("mark", MOST, *given(**COLD), "--answer", "10", "--step", "cold_voltage=41.3 V")
    keys = ["exercise", "number", "ask", "verdict", "entry", "mistakes", "named", "feedback", "near", "steps", "safety"]
    assert list(marking) == keys
    assert marking["entry"] == {"value": 10.0, "unit": ""}
    assert all(list(mistake) == ["id", "words", "probability"] for mistake in marking["mistakes"])
    assert marking["steps"]["cold_voltage"]["verdict"] == "wrong"
    assert marking["named"] == "cold-left-out"
    assert list(told("mark", MOST, "--answer", "10", "--solution")) == [*keys, "answer"]


@pytest.mark.parametrize("answer", ["", "1,234", "13-ish", "NaN", "(" * 500])
def test_an_entry_that_is_not_marked_has_no_entry_and_no_mistakes(answer):
    marking = told("mark", MOST, "--answer", answer)
    assert marking["verdict"] in {"refused", "unclear"}
    assert (marking["entry"], marking["mistakes"], marking["named"]) == (None, [], None)
    assert marking["feedback"].endswith(".")


@pytest.mark.parametrize("answer", ["10", "9", "41.3 V", "what"])
def test_without_solution_a_marking_does_not_hold_the_answer(answer):
    marking = told("mark", MOST, *given(**COLD), "--answer", answer)
    text = json.dumps({key: value for key, value in marking.items() if key != "entry"})
    assert "answer" not in marking
    assert "46.76" not in text
    assert "9.62" not in text


def test_the_exercises_are_listed():
    listed = told("exercises")
    assert MOST in {exercise["id"] for exercise in listed}
    keys = {"id", "title", "lesson", "skill", "level", "asks", "givens", "mistakes"}
    assert all(set(exercise) == keys for exercise in listed)
    assert run("exercises").output.count("\n") == len(listed)


def test_text_output_tells_the_same_as_json():
    problem = told("problem", MOST, *given(**COLD), "--solution")
    text = run("problem", MOST, *given(**COLD), "--solution").output
    assert problem["story"] in text
    assert all(line["text"] in text for line in problem["solution"])
    assert all(caution["text"] in text for caution in problem["safety"])


def test_an_own_exercise_is_drawn_and_marked_from_its_folder(tmp_path):
    folder = tmp_path / "exercises" / "own"
    folder.mkdir(parents=True)
    (folder / "sound-exercise.yaml").write_bytes((CORPORA / "sound-exercise.yaml").read_bytes())
    own = [*given(**COLD), "--content", tmp_path]
    assert told("problem", "sound-exercise", *own, "--solution")["answer"]["value"] == 9
    assert told("mark", "sound-exercise", *own, "--answer", "9")["verdict"] == "right"
    assert "sound-exercise" in {exercise["id"] for exercise in told("exercises", "--content", tmp_path)}


BAD = {
    "unknown exercise": (["problem", "no-such"], "There is no exercise 'no-such'"),
    "unknown ask": (["problem", MOST, "--ask", "colour"], "has no quantity 'colour'"),
    "ask out of reach": (["problem", MOST, "--ask", "module_vmp"], "cannot be turned round to module_vmp"),
    "unknown given": (["problem", MOST, "--given", "colour=3"], "'colour' is not a given here"),
    "given of another exercise": (["problem", MOST, "--given", "run_length=3 m"], "'run_length' is not a given here"),
    "step as a given": (["problem", MOST, "--given", "cold_voltage=40 V"], "'cold_voltage' is not a given here"),
    "given that is asked": (["problem", MOST, "--given", "modules_in_series=3"], "is what is asked for"),
    "given without sign": (["problem", MOST, "--given", "module_voc"], "--given takes NAME=VALUE"),
    "given without value": (
        ["problem", MOST, "--given", "module_voc="],
        "Module's open-circuit voltage: The entry is empty",
    ),
    "given unclear": (["problem", MOST, "--given", "module_voc=41,300 V"], "can be read as"),
    "given in another unit": (["problem", MOST, "--given", "module_voc=41.3 A"], "gives a current"),
    "given in no unit known": (["problem", MOST, "--given", "module_voc=41.3 Vult"], "is not a unit"),
    "given not finite": (["problem", MOST, "--given", "module_voc=nan"], "not finite"),
    "given too large": (
        ["problem", MOST, "--given", "module_voc=1e5 V"],
        "can't be 100000",
    ),
    "given too small": (["problem", MOST, "--given", "module_voc=-41.3 V"], "real values lie between"),
    "part of a module": (
        ["problem", MOST, "--ask", "record_low", "--given", "modules_in_series=9.5"],
        "give a whole number",
    ),
    "unknown rulebook": (["problem", MOST, "--rulebook", "xx"], "There is no rulebook 'xx'"),
    "no such folder": (["exercises", "--content", "/no/such/folder"], "there is no such folder"),
    "no such file": (["verify", "/no/such/file.yaml"], "there is no exercise file"),
    "number below zero": (["problem", MOST, "--number", "-1"], "-1 is not in the range"),
    "number in words": (["problem", MOST, "--number", "x"], "'x' is not a valid integer"),
    "no answer": (["mark", MOST], "Missing option '--answer'"),
    "unknown step": (["mark", MOST, "--answer", "3", "--step", "colour=3"], "'colour' is not a step here"),
    "answer as a step": (["mark", MOST, "--answer", "3", "--step", "modules_in_series=3"], "is not a step here"),
    "unknown option": (["problem", MOST, "--colour"], "No such option"),
    "unknown command": (["paint"], "No such command 'paint'"),
    "port in words": (["--port", "x"], "'x' is not a valid integer"),
    "no draws": (["verify", "--draws", "0"], "0 is not in the range"),
}


@pytest.mark.parametrize(("arguments", "words"), BAD.values(), ids=BAD)
@pytest.mark.parametrize("as_json", [False, True])
def test_a_bad_request_is_told_on_one_line(arguments, words, as_json):
    done = run(*arguments, *(["--json"] if as_json and arguments[0] in ("problem", "mark", "verify") else []))
    assert done.exit_code == 2
    assert done.stdout == ""
    assert words in done.stderr
    assert done.stderr.startswith("coldmorning: ")
    assert done.stderr.count("\n") == 1


def test_the_exit_codes_reach_the_shell(tmp_path):
    broken = tmp_path / "sound-exercise.yaml"
    broken.write_text((CORPORA / "sound-exercise.yaml").read_text(encoding="utf-8").replace("level: 2", "level: 9"))
    command = [sys.executable, "-c", "from tutor.cli import main; main()"]
    for arguments, code in (
        (["mark", MOST, "--answer", "99"], 0),
        (["verify", str(broken)], 1),
        (["problem", "no-such"], 2),
        (["problem", MOST, "--colour"], 2),
    ):
        done = subprocess.run([*command, *arguments], capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == code, done.stderr
        assert "Traceback" not in done.stderr


def test_a_working_is_checked_line_by_line(tmp_path):
    file = tmp_path / "working.txt"
    file.write_text("Voc cold = 41.3 × 1.1323 = 46.76 V\n450 ÷ 46.76 = 9.6\nso 10\n", encoding="utf-8")
    working = told("working", MOST, *given(**COLD), file)
    assert [line["verdict"] for line in working["lines"]] == ["holds", "holds", "departs"]
    assert (working["first_wrong"], working["reaches_answer"]) == (2, False)
    assert working["lines"][2]["mistake"] == "rounded-up"
    assert {"text", "verdict", "quantity", "mistake", "words"} <= working["lines"][0].keys()
    assert working["safety"]
    done = run("working", MOST, *given(**COLD), file)
    assert done.exit_code == 0
    assert "departs" in done.output


@pytest.mark.parametrize(
    ("exercise", "data", "words"),
    [
        (MOST, b"", "There is no line"),
        (MOST, b"1 + 1 = 2\n" * 61, "60 lines"),
        (MOST, b"9" * 20_001, "larger than"),
        ("switching-on", b"so 9", "asks for an order"),
    ],
)
def test_a_working_that_cannot_be_checked_is_told_in_a_line(tmp_path, exercise, data, words):
    file = tmp_path / "working.txt"
    file.write_bytes(data)
    done = run("working", exercise, file)
    assert (done.exit_code, done.output.count("\n")) == (2, 1)
    assert words in done.output


def test_a_working_in_latin_1_is_read(tmp_path):
    file = tmp_path / "working.txt"
    file.write_bytes("450 ÷ 46.76 = 9.6\nso 9\n".encode("latin-1"))
    assert told("working", MOST, *given(**COLD), file)["reaches_answer"] is True


@pytest.mark.long
def test_the_trial_prints_every_kind_of_learner():
    done = run("diagnose-trial", "--learners", "1")
    assert done.exit_code == 0
    for kind in ("a declared mistake, with steps", "two mistakes, final value only", "a number from nowhere"):
        assert kind in done.output


def test_the_tables_of_a_rulebook_are_listed_with_its_base_edition():
    listed = told("tables", "--rulebook", "us")
    assert listed["edition"] == "NFPA 70-2017"
    assert {"editions", "ampacity", "ambient_factor_solar_cable"} <= set(listed["tables"])


@pytest.mark.parametrize("book", ["us", "iec"])
def test_the_table_of_editions_is_printed_each_row_with_its_source_and_standing(book):
    rows = told("tables", "editions", "--rulebook", book)["tables"]["editions"]["rows"]
    assert all(row["edition"] and row["change"] and row["source"] and row["standing"] for row in rows)
    assert len(rows) + 1 <= len(run("tables", "editions", "--rulebook", book).output.splitlines())


def test_a_table_that_there_is_not_is_told_in_one_line():
    done = run("tables", "no-such-table", "--rulebook", "iec")
    assert done.exit_code == 2
    assert "has no table 'no-such-table'" in done.output
