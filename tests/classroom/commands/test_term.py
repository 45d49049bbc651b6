"""A term from a shell script, through the installed command; and what each command tells in JSON."""

import json
import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import update

from tutor.base.text import steers
from tutor.classroom.desk import DeskError, InstructorAuth
from tutor.cli import main
from tutor.store.database import Store
from tutor.store.tables import class_answer

ROOT = Path(__file__).parents[3]
SET = """\
id: week-3
title: Strings on a cold morning
attempts: 2
items:
  - exercise: most-modules-in-series
  - exercise: switching-on
"""
ROSTER = "Name;Number\r\nZoë;17\r\nBo;18\r\nBo;18\r\n;\r\n".encode("cp1252")

TERM = r"""
set -euo pipefail
coldmorning() { "$PYTHON" -c "from tutor.cli import main; main()" "$@"; }
export STORE="$PWD/term.sqlite3"
printf '%s\n' 'four words make one' | coldmorning passphrase --store "$STORE"
coldmorning set check week-3.yaml --learners 5
coldmorning set open week-3.yaml --class morning --store "$STORE" --json > set.json
coldmorning roster roster.csv --class morning --store "$STORE"
coldmorning roster roster.csv --class morning --store "$STORE" --json > roster.json
coldmorning hand-out week-3 --store "$STORE" --json > handed.json
coldmorning hand-out week-3 --store "$STORE" --json | cmp - handed.json
"$PYTHON" - <<'PY' > answers.csv
import json
print("problem code,answer")
for at, one in enumerate(json.load(open("handed.json"))["problems"]):
    print(f"{one['code']},{'77' if at % 2 == 0 else 'A'}")
print("2222-22,9")
PY
coldmorning markall answers.csv --store "$STORE" --json > marked.json
coldmorning markall answers.csv --store "$STORE" --json > again.json
coldmorning set close week-3 --yes --store "$STORE"
coldmorning remark week-3 --store "$STORE" --json > remark.json
coldmorning where week-3 --store "$STORE" --json > where.json
coldmorning report week-3 --store "$STORE" --json > report.json
coldmorning report week-3 --store "$STORE" --follow-up 1 --out next.yaml
coldmorning set check next.yaml --json > next.json
coldmorning slips week-3 --store "$STORE" --address http://school.example:8501/ --out slips.html
CODE=$("$PYTHON" -c 'import json; print(json.load(open("handed.json"))["problems"][0]["code"])')
coldmorning handed comment "$CODE" 'Look at the record low again.' --store "$STORE"
coldmorning handed withdraw "$CODE" --answer 1 --store "$STORE"
coldmorning handed excuse "$CODE" --store "$STORE"
coldmorning handed show "$CODE" --store "$STORE" --json > shown.json
coldmorning release-learner Bo --yes --class morning --store "$STORE"
coldmorning set reopen week-3 --store "$STORE" --closes '2199-01-01 12:00'
coldmorning set list --store "$STORE" --json > list.json
coldmorning erase-learner 17 --class morning --yes --store "$STORE"
coldmorning roster --class morning --store "$STORE" --json > left.json
"""


def test_a_term_runs_from_a_shell_script(tmp_path):
    (tmp_path / "week-3.yaml").write_text(SET, encoding="utf-8")
    (tmp_path / "roster.csv").write_bytes(ROSTER)
    environment = {**os.environ, "PYTHON": sys.executable, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        ["bash", "-c", TERM], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=240, check=False
    )
    assert done.returncode == 0, done.stderr
    told = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in tmp_path.glob("*.json")}
    assert (told["set"]["class"], told["set"]["state"], told["set"]["problems"]) == ("morning", "open", 2)
    assert "2 new, 0 there already, 0 renamed; 2 in the class." in done.stdout
    assert "line 4: 'Bo' stands on line 3 already" in done.stderr
    assert (told["roster"]["new"], told["roster"]["there"]) == (0, 2)
    assert [one["name"] for one in told["roster"]["members"]] == ["Zoë", "Bo"]
    assert len({one["personal_code"] for one in told["roster"]["members"]}) == 2
    assert len(told["handed"]["problems"]) == 4
    assert (told["marked"]["new"], told["marked"]["there"]) == (4, 0)
    assert told["marked"]["wrong"] >= 2
    assert told["marked"]["faults"][-1]["line"] == 6
    assert (told["again"]["new"], told["again"]["there"]) == (0, 4)
    assert told["remark"] == {"applied": False, "problems": 0, "changes": [], "unfit": []}
    assert [(one["name"], [problem["state"] for problem in one["problems"]]) for one in told["where"]["learners"]] == [
        ("Zoë", ["wrong", "wrong"]),
        ("Bo", ["wrong", "wrong"]),
    ]
    assert told["next"]["items"]
    assert [item["exercise"] for item in told["next"]["items"]] == [
        item["exercise"] for item in told["report"]["mistakes"][0]["follow_up"]["items"]
    ]
    slips = (tmp_path / "slips.html").read_text(encoding="utf-8")
    assert f"http://school.example:8501/class-work?set={told['set']['code']}" in slips
    assert all(one["personal_code"] in slips for one in told["roster"]["members"])
    assert told["shown"]["state"] == "excused"
    assert [(one["entry"], one["counted"], one["comment"]) for one in told["shown"]["answers"]] == [
        ("77", False, "Look at the record low again.")
    ]
    codes = [{one["name"]: one["personal_code"] for one in told[when]["members"]} for when in ("roster", "left")]
    assert codes[0]["Bo"] != codes[1]["Bo"]
    assert [(one["id"], one["state"], one["closes"][:10]) for one in told["list"]] == [("week-3", "open", "2199-01-01")]
    assert [one["name"] for one in told["left"]["members"]] == ["Bo"]
    assert "Zoë".encode() not in (tmp_path / "term.sqlite3").read_bytes()


def run(*arguments, **options):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], catch_exceptions=False, **options)


@pytest.fixture
def shell(tmp_path):
    """shell(*arguments): a command on a store of its own, with a set file and a roster beside it."""
    (tmp_path / "week-3.yaml").write_text(SET, encoding="utf-8")
    (tmp_path / "roster.csv").write_bytes(ROSTER)
    store = str(tmp_path / "store.sqlite3")
    return lambda *arguments, **options: run("--store", store, *arguments, **options)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["set", "check", "nowhere.yaml"], "the file cannot be read"),
        (["set", "close", "quux"], "There is no practice set 'quux'"),
        (["set", "quux"], "No such command 'quux'"),
        (["hand-out"], "Missing argument 'SET'"),
        (["markall", "nowhere.csv"], "cannot be read"),
        (["remark", "quux", "--answer", "7"], "--problem and --answer belong together"),
        (["roster", "nowhere.csv"], "cannot be read"),
        (["erase-learner", "Dana", "--yes"], "Nobody is called 'Dana'"),
        (["release-learner", "Dana"], "Nobody is called 'Dana'"),
        (["where", "quux"], "There is no practice set 'quux'"),
        (["handed", "show", "2222"], "is no problem's code"),
        (["handed", "quux"], "No such command 'quux'"),
        (["slips", "quux"], "Missing option '--address'"),
    ],
)
def test_a_faulty_request_takes_one_line(shell, arguments, told):
    done = shell(*arguments)
    assert done.exit_code == 2
    assert told in done.stderr
    assert done.stderr.startswith("coldmorning: ")
    assert done.stderr.count("\n") == 1


def test_a_poor_passphrase_is_refused(shell):
    done = shell("passphrase", input="short\n")
    assert (done.exit_code, "at least 10 characters" in done.stderr) == (2, True)


def test_an_empty_name_erases_nobody(shell, tmp_path):
    (tmp_path / "numbers.csv").write_text("number\n17\n", encoding="utf-8")
    shell("roster", tmp_path / "numbers.csv")
    done = shell("erase-learner", "", "--yes")
    assert (done.exit_code, "Nobody is called ''" in done.stderr) == (2, True)
    assert "17" in shell("roster").stdout


def test_an_erasure_is_asked_about(shell, tmp_path):
    shell("roster", tmp_path / "roster.csv")
    assert shell("erase-learner", "Bo", input="n\n").exit_code == 1
    assert "Bo" in shell("roster").stdout
    assert shell("erase-learner", "Bo", input="y\n").exit_code == 0
    assert "Bo" not in shell("roster").stdout


def test_a_release_is_asked_about(shell, tmp_path):
    shell("roster", tmp_path / "roster.csv")
    before = shell("roster").stdout
    for said in ("n\n", ""):
        done = shell("release-learner", "Bo", input=said)
        assert (done.exit_code, "Add --yes to go ahead without this question." in done.stderr) == (1, True)
        assert shell("roster").stdout == before
    assert shell("release-learner", "Bo", input="y\n").exit_code == 0
    assert shell("roster").stdout != before


@pytest.mark.parametrize(
    "command", [["set", "close", "week-3"], ["set", "times", "week-3", "--closes", "2020-01-01 08:00"]]
)
def test_closing_a_set_says_what_it_does_and_asks(shell, tmp_path, command):
    shell("set", "open", tmp_path / "week-3.yaml")
    shell("roster", tmp_path / "roster.csv")

    def state():
        return json.loads(shell("set", "list", "--json").stdout)[0]["state"]

    for said in ("n\n", ""):
        done = shell(*command, input=said)
        assert done.exit_code == 1
        assert "2 of 2 learners still have open problems." in done.stderr
        assert "To accept answers again, reopen the set" in done.stderr
        assert done.stderr.endswith("Nothing was changed. Add --yes to go ahead without this question.\n")
        assert state() == "open"
    done = shell(*command, "--json", input="y\n")
    assert (done.exit_code, json.loads(done.stdout)["state"], state()) == (0, "closed", "closed")
    assert shell(*command, input="").exit_code == 0, "closed already: nothing to ask"
    shell("set", "reopen", "week-3")
    assert shell(*command, "--yes", input="").exit_code == 0
    assert state() == "closed"


def test_one_problems_right_answer_is_corrected_after_a_look(shell, tmp_path):
    shell("set", "open", tmp_path / "week-3.yaml")
    shell("roster", tmp_path / "roster.csv")
    handed = json.loads(shell("hand-out", "week-3", "--json").stdout)["problems"][0]
    (tmp_path / "answers.csv").write_text(f"code,answer\n{handed['code']},1\n", encoding="utf-8")
    assert "1 new answer: 0 right, 1 wrong" in shell("markall", tmp_path / "answers.csv", "--set", "week-3").stdout
    look = ["remark", "week-3", "--problem", handed["code"], "--answer", "1"]
    for _ in range(2):
        assert "'1' wrong -> right" in shell(*look).stdout
    assert "1 verdict, 0 unfit. Done." in shell(*look, "--apply", "one is enough here").stdout
    assert "0 verdicts" in shell(*look).stdout


@pytest.fixture
def answered(shell, tmp_path):
    """The class with two answers, of one learner to one problem; gives the shell and the problem's code."""
    shell("set", "open", tmp_path / "week-3.yaml")
    shell("roster", tmp_path / "roster.csv")
    code = json.loads(shell("hand-out", "week-3", "--json").stdout)["problems"][0]["code"]
    for at, entry in enumerate(("88", "99")):
        file = tmp_path / f"answers-{at}.csv"
        file.write_text(f"code,answer\n{code},{entry}\n", encoding="utf-8")
        shell("markall", file)
    return shell, code


def test_an_answer_is_chosen_by_its_place_and_else_the_last(answered):
    shell, code = answered
    shell("handed", "comment", code, "the first", "--answer", 1)
    shell("handed", "comment", code, "the last")
    told = json.loads(shell("handed", "show", code, "--json").stdout)
    assert [(one["entry"], one["comment"]) for one in told["answers"]] == [("88", "the first"), ("99", "the last")]
    done = shell("handed", "withdraw", code, "--answer", 3)
    assert (done.exit_code, "has no answer 3, the last is 2" in done.stderr) == (2, True)
    assert "is taken back from '99'" in shell("handed", "comment", code, " ").stdout


def test_a_corrected_file_is_looked_at_and_then_taken(answered, tmp_path):
    shell, code = answered
    file = tmp_path / "corrected.csv"
    file.write_text(f"code,answer\n{code},88\n{code},97\n", encoding="utf-8")
    look = shell("markall", file, "--preview")
    assert f"{code} Zoë: '99' -> '97'" in look.stdout
    assert "Nothing was changed" in look.stdout
    told = json.loads(shell("markall", file, "--preview", "--json").stdout)
    assert [(one["before"], one["after"]) for one in told["corrections"]] == [(["99"], ["97"])]
    refused = shell("markall", file).stderr
    assert "has used all attempts" in refused
    assert "1 line differs from an earlier answer on paper. If the file corrects it, add --correct." in refused
    assert "0 right, 1 wrong; 1 corrected, 1 there already" in shell("markall", file, "--correct").stdout
    told = json.loads(shell("handed", "show", code, "--json").stdout)
    assert [(one["entry"], one["counted"]) for one in told["answers"]] == [("88", True), ("99", False), ("97", True)]


def test_what_learners_typed_steers_no_terminal(answered, tmp_path):
    shell, code = answered
    typed = "77\x1b[2K\x9b1A\u202e\n  3 '9' right"
    with closing(Store.open(str(tmp_path / "store.sqlite3"))) as store:
        store.write(lambda connection: connection.execute(update(class_answer).values(entry=typed)))
    look = ["remark", "week-3", "--problem", code, "--answer", "1"]
    for command in (
        ["handed", "show", code],
        ["handed", "comment", code, "Mind the unit."],
        ["handed", "withdraw", code],
        [*look, "--apply", "one is enough"],
        ["report", "week-3"],
    ):
        told = shell(*command).stdout
        assert not any(map(steers, told.replace("\n", ""))), command
        assert not any(line.startswith("  3 ") for line in told.splitlines()), command
    told = shell("handed", "show", code, "--json").stdout
    assert not any(map(steers, told.replace("\n", "")))
    assert {one["entry"] for one in json.loads(told)["answers"]} == {typed}


def test_a_withdrawal_is_taken_back(answered):
    shell, code = answered

    def counted():
        return [one["counted"] for one in json.loads(shell("handed", "show", code, "--json").stdout)["answers"]]

    done = shell("handed", "withdraw", code, "--undo")
    assert (done.exit_code, "'99' was not withdrawn" in done.stderr) == (2, True)
    assert "--undo counts it again" in shell("handed", "withdraw", code).stdout
    assert counted() == [True, False]
    assert "'99' counts again" in shell("handed", "withdraw", code, "--undo").stdout
    assert counted() == [True, True]


def test_an_excuse_is_taken_back(answered):
    shell, code = answered
    shell("handed", "excuse", code)
    assert "(excused)" in shell("handed", "show", code).stdout
    shell("handed", "excuse", code, "--undo")
    assert "(wrong)" in shell("handed", "show", code).stdout


def test_who_is_where_is_told_in_lines(answered):
    shell, _ = answered
    told = shell("where", "week-3").stdout.splitlines()
    assert told[0].startswith("✖○  0 of 2  Zoë (17): ")
    assert told[1].startswith("○○  0 of 2  Bo (18): not begun")
    assert told[3] == "No attempts left at problem 1: Zoë (17)"


def test_a_follow_up_that_is_not_listed_is_refused(answered):
    shell, _ = answered
    done = shell("report", "week-3", "--follow-up", 99)
    assert (done.exit_code, "there is no number 99" in done.stderr) == (2, True)


def test_a_sheet_says_how_to_go_on_with_it_on_a_screen(answered, tmp_path):
    shell, _ = answered
    file = tmp_path / "sheets.html"
    done = shell("sheet", "week-3", "--sheets", file, "--address", "http://school.example", "--note", "Bring a pencil.")
    assert done.exit_code == 0, done.stderr
    page = file.read_text(encoding="utf-8")
    assert page.count("http://school.example/class-work?set=") == 2
    assert page.count("Bring a pencil.") == 2


def test_a_class_without_a_roster_is_said(shell):
    done = shell("roster", "--class", "evening")
    assert (done.exit_code, done.stderr) == (0, "Nobody is on the roster of the class 'evening'.\n")


def test_the_exam_switch_goes_on_and_off_and_an_exam_says_what_it_cannot_prevent(shell, tmp_path):
    assert shell("set", "open", tmp_path / "week-3.yaml").stderr == ""
    (tmp_path / "exam.yaml").write_text(
        SET.replace("week-3", "exam") + "marked: when closed\nsolutions: never\n", encoding="utf-8"
    )
    said = shell("set", "open", tmp_path / "exam.yaml").stderr
    assert "Nothing here stops another computer or phone that runs this program." in said
    assert "'coldmorning exam on' turns the exam switch on." in said

    def state():
        told = json.loads(shell("exam", "state", "--json").stdout)
        return told["on"], told["all_exams"], told["set"] and told["set"]["id"]

    assert state() == (False, False, None)
    assert "is on for “Strings on a cold morning”" in shell("exam", "on", "exam").stdout
    assert state() == (True, False, "exam")
    assert "is on for all sets that are marked when they close" in shell("exam", "on").stdout
    assert state() == (True, True, None)
    assert shell("exam", "off").stdout == "The exam switch is off.\n"
    assert state() == (False, False, None)
    assert shell("set", "close", "exam", "--yes").exit_code == 0
    refused = shell("exam", "on", "exam")
    assert (refused.exit_code, "is closed. Reopen it" in refused.stderr) == (2, True)
    assert state() == (False, False, None)


def test_names_of_a_new_set_are_claimed_with_the_personal_code_and_it_can_be_changed(shell, tmp_path):
    def claim_with():
        return json.loads(shell("set", "list", "--json").stdout)[0]["claim_with"]

    shell("set", "open", tmp_path / "week-3.yaml")
    assert claim_with() == "personal code"
    assert shell("set", "claims", "week-3", "--with", "name alone").exit_code == 0
    assert claim_with() == "name alone"
    again = shell("set", "open", tmp_path / "week-3.yaml")
    assert (again.exit_code, "'coldmorning set claims' changes it" in again.stderr) == (0, True)
    assert claim_with() == "name alone"
    assert shell("set", "claims", "week-3", "--with", "nothing").exit_code == 2


def test_a_sets_file_can_let_names_be_claimed_alone(shell, tmp_path):
    (tmp_path / "loose.yaml").write_text(SET + "claim_with: name alone\n", encoding="utf-8")
    told = json.loads(shell("set", "open", tmp_path / "loose.yaml", "--json").stdout)
    assert told["claim_with"] == "name alone"


def test_a_code_from_the_terminal_sets_the_first_passphrase_and_then_opens_the_desk_once(shell, tmp_path):
    first = shell("desk-code").stdout.splitlines()
    assert "no passphrase yet" in first[1]
    with closing(Store.open(str(tmp_path / "store.sqlite3"))) as store:
        assert InstructorAuth(store).set_first("four words make one", first[0])
        code, told = shell("desk-code").stdout.splitlines()
        assert "good once, for 10 minutes" in told
        assert InstructorAuth(store).enter(code)
        with pytest.raises(DeskError):
            InstructorAuth(store).enter(code)
