"""A term from a shell script, through the installed command; and what each command tells in JSON."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tutor.cli import main

ROOT = Path(__file__).parents[2]
SET = """\
id: week-3
title: Strings on a cold morning
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
coldmorning set close week-3 --store "$STORE"
coldmorning remark week-3 --store "$STORE" --json > remark.json
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


def test_an_erasure_is_asked_about(shell, tmp_path):
    shell("roster", tmp_path / "roster.csv")
    assert shell("erase-learner", "Bo", input="n\n").exit_code == 1
    assert "Bo" in shell("roster").stdout
    assert shell("erase-learner", "Bo", input="y\n").exit_code == 0
    assert "Bo" not in shell("roster").stdout


def test_one_problems_right_answer_is_corrected_after_a_look(shell, tmp_path):
    shell("set", "open", tmp_path / "week-3.yaml")
    shell("roster", tmp_path / "roster.csv")
    handed = json.loads(shell("hand-out", "week-3", "--json").stdout)["problems"][0]
    (tmp_path / "answers.csv").write_text(f"code,answer\n{handed['code']},1\n", encoding="utf-8")
    assert "1 new answers: 0 right, 1 wrong" in shell("markall", tmp_path / "answers.csv", "--set", "week-3").stdout
    look = ["remark", "week-3", "--problem", handed["code"], "--answer", "1"]
    for _ in range(2):
        assert "'1' wrong -> right" in shell(*look).stdout
    assert "1 verdicts, 0 unfit. Done." in shell(*look, "--apply", "one is enough here").stdout
    assert "0 verdicts" in shell(*look).stdout
