"""The files that are written: whole or not at all, of the kind that their name says."""

from datetime import date

import click
import pytest
from click.testing import CliRunner

from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.sheet_command import Wanted, sheet_options, write_files
from tutor.classroom.sheets.build import style_of
from tutor.content.library import load
from tutor.engine.question import Engine
from tutor.engine.setting import set_problem


@pytest.fixture(scope="module")
def style_and_problems():
    engine = Engine(load())
    practice = PracticeSet(id="first-week", title="The first week", items=[Item(exercise="array-current")])
    problems = [("7KQ4-2P", set_problem(engine, "array-current"))]
    handed_out = [(Member(id=at, name=f"Learner {at}"), problems) for at in range(3)]
    return style_of(practice, engine.library, date(2026, 1, 12)), handed_out


def test_sheets_and_key_are_written_and_progress_is_told(style_and_problems, tmp_path):
    told = []
    wanted = Wanted(sheets=tmp_path / "sheets.pdf", key=tmp_path / "key.html")
    written = write_files(*style_and_problems, wanted, lambda done, whole: told.append((done, whole)))
    assert written == [wanted.sheets, wanted.key]
    assert wanted.sheets.read_bytes().startswith(b"%PDF-")
    assert "ANSWER KEY" in wanted.key.read_text(encoding="utf-8")
    assert told == [(1, 6), (2, 6), (3, 6), (6, 6)]
    assert sorted(tmp_path.iterdir()) == sorted(written)


def test_another_ending_is_said_before_anything_is_written(style_and_problems, tmp_path):
    wanted = Wanted(sheets=tmp_path / "sheets.pdf", key=tmp_path / "key.doc")
    with pytest.raises(ValueError, match=r"'key\.doc' ends in neither"):
        write_files(*style_and_problems, wanted, lambda *_: None)
    assert list(tmp_path.iterdir()) == []


def test_a_run_that_is_stopped_leaves_no_file(style_and_problems, tmp_path):
    def stopped(done, whole):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_files(*style_and_problems, Wanted(sheets=tmp_path / "sheets.pdf"), stopped)
    assert list(tmp_path.iterdir()) == []


def test_the_options_reach_the_command():
    @click.command()
    @sheet_options
    def command(**given):
        click.echo(repr(given["paper"]) + repr(given["large"]) + repr(given["notes"]))

    asked = ["--paper", "us-letter", "--large", "--note", "Monday", "--note", "Tuesday"]
    assert CliRunner().invoke(command, asked).output.strip() == "'us-letter'True('Monday', 'Tuesday')"
