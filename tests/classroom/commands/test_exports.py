"""The commands on a store in which a class has worked, as a shell script would call them."""

import csv
import io
import json
import zipfile

import pytest
from click.testing import CliRunner

from tutor.cli import main
from tutor.operations.exports import PASSWORD


@pytest.fixture
def run(school, noon, store_address):
    """run(command, ...): the command's result on the store of a class that has worked."""
    school.work[0].answer(2, "77", key="a", moment=noon)

    def run(*arguments):
        return CliRunner().invoke(main, ["--store", store_address, *arguments], catch_exceptions=False)

    return run


def fault(result):
    assert result.exit_code == 2, result.output
    assert len(result.stderr.splitlines()) == 1
    return result.stderr


def test_report_as_text_and_as_json(run):
    text = run("report", "cold-strings")
    assert text.exit_code == 0, text.exception
    assert "3 learners, still open" in text.stdout
    assert "Fewer than 30 learners" in text.stdout
    assert "7 Ana: 0 right, 1 wrong" in text.stdout
    told = json.loads(run("report", "cold-strings", "--json").stdout)
    assert (told["statistics"]["places"][1]["right"]["count"], told["statistics"]["places"][1]["right"]["of"]) == (0, 1)
    assert [line["name"] for line in told["learners"]] == ["Ana", "Bo", "Čeda"]


def test_gradebook(run, tmp_path):
    assert run("export", "gradebook", "cold-strings", "--out", str(tmp_path / "g.csv")).exit_code == 0
    rows = list(csv.reader(io.StringIO((tmp_path / "g.csv").read_text(encoding="utf-8-sig"))))
    assert [row[1] for row in rows] == ["name", "Ana", "Bo", "Čeda"]
    assert not (tmp_path / ".g.csv.half").exists()
    printed = run("export", "gradebook", "cold-strings", "--semicolons", "--no-bom")
    assert printed.stdout_bytes.startswith(b"number;name;")


def test_oneroster_asks_for_numbers(run, tmp_path):
    ids = ["--school-id", "s", "--class-id", "c", "--category-id", "h", "--session-id", "t"]
    result = run("export", "oneroster", "cold-strings", "--out", str(tmp_path / "r.zip"), *ids)
    assert "'Čeda' has no number" in fault(result)
    assert not (tmp_path / "r.zip").exists()


@pytest.mark.parametrize("version", ["2.1", "3.0"])
def test_qti_is_the_same_each_time_and_nobodys_own(run, school, tmp_path, version):
    for name in ("a.zip", "b.zip"):
        arguments = ["--out", str(tmp_path / name), "--version", version, "--variants", "2"]
        assert run("export", "qti", "cold-strings", *arguments).exit_code == 0
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        numbers = {name.split(".")[-2] for name in archive.namelist() if name.startswith("items/")}
    assert len(numbers) == 2 * len(school.of.declaration.places)
    assert not numbers & {str(one.number) for theirs in school.handed for one in theirs}


def test_xapi_as_lines_and_what_sending_needs(run, tmp_path, monkeypatch):
    lines = run("export", "xapi", "cold-strings", "--home", "https://school.example").stdout.splitlines()
    assert [json.loads(line)["result"]["response"] for line in lines] == ["77"]
    assert "no web address" in fault(run("export", "xapi", "cold-strings", "--home", "school"))
    monkeypatch.setenv(PASSWORD, "secret")
    arguments = ["--home", "https://school.example", "--send-to", "http://lrs.example", "--user", "me"]
    assert "Use an 'https://'" in fault(run("export", "xapi", "cold-strings", *arguments))
    assert "secret" not in str(run("export", "xapi", "--help").output)


def test_person_by_number_or_name(run, tmp_path):
    assert json.loads(run("export", "person", "7").stdout)["member"]["name"] == "Ana"
    assert json.loads(run("export", "person", "Čeda").stdout)["class_answer"] == []
    assert "Nobody is called 'Dora'" in fault(run("export", "person", "Dora"))


def test_what_cannot_be_written_or_found_is_a_sentence(run, tmp_path):
    nowhere = str(tmp_path / "no such folder" / "g.csv")
    assert "cannot be written" in fault(run("export", "gradebook", "cold-strings", "--out", nowhere))
    assert "There is no practice set" in fault(run("report", "another-set"))
