"""The command that prints sheets and key: whole files of the kind that their names say, or one sentence."""

import pypdf
import pytest
from click.testing import CliRunner

from tutor.cli import main


@pytest.fixture
def sheet(school, store_address):
    """sheet(...): the command's result on the store of a class that has got its problems."""

    def sheet(*arguments):
        command = ["--store", store_address, "sheet", "cold-strings", *map(str, arguments)]
        return CliRunner().invoke(main, command, catch_exceptions=False)

    return sheet


def test_sheets_and_key_are_written(sheet, school, tmp_path):
    sheets, key = tmp_path / "sheets.pdf", tmp_path / "key.html"
    result = sheet("--sheets", sheets, "--key", key, "--note", "Hand in on Monday.")
    assert result.exit_code == 0, result.output
    text = "".join(page.extract_text() for page in pypdf.PdfReader(sheets).pages)
    codes = [one.code for theirs in school.handed for one in theirs]
    assert [code for code in codes if code not in text] == []
    assert text.count("Hand in on Monday.") == len(school.handed)
    assert "ANSWER KEY" not in text
    assert "ANSWER KEY" in key.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Say what to print"),
        (["--key", "key.doc"], "'key.doc' ends in neither"),
        (["--sheets", "/no/such/folder/s.pdf", "--address", "school.example"], "cannot be written"),
        (["--sheets", "s.pdf", "--address", "http://127.0.0.1:8765"], "On a learner's device, '127.0.0.1' is that"),
        (["--sheets", "s.pdf", "--address", "school.example?set"], "is not a web address"),
    ],
)
def test_what_cannot_be_printed_is_a_sentence(sheet, arguments, words):
    result = sheet(*arguments)
    assert result.exit_code == 2
    assert words in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_sheets_hold_the_address_that_is_given_and_without_one_it_is_said(sheet, school, tmp_path):
    file = tmp_path / "sheets.pdf"
    assert "The sheets carry no address and no codes for a screen. Add --address URL" in sheet("--sheets", file).stderr
    assert "://" not in text_of(file)
    result = sheet("--sheets", file, "--replace", "--address", "https://school.example/")
    assert result.exit_code == 0, result.output
    assert text_of(file).count(f"https://school.example/class-work?set={school.of.code}") == len(school.handed)


def text_of(file):
    return "".join(page.extract_text() for page in pypdf.PdfReader(file).pages)
