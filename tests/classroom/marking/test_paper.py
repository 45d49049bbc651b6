"""Answers on paper: marked as on the screen, once, with what cannot be used told by its line and the rest done."""

import csv
import io
from datetime import timedelta

import pytest

from tutor.classroom.errors import ClassError
from tutor.classroom.marking import paper
from tutor.classroom.marking.assigned import mark_assigned
from tutor.classroom.marking.paper import PaperEntry, mark_entries, mark_paper
from tutor.classroom.marking.regrade import apply, preview_answer
from tutor.classroom.reports.results import Results
from tutor.classroom.sets.views import SAVED


def table(rows, header=("Problem code", "Answer"), separator=","):
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator).writerows([header, *rows])
    return text.getvalue().encode("utf-8-sig")


def marked(school, rows, header=("Problem code", "Answer"), **options):
    return mark_paper(school.store, school.engine, table(rows, header, **options))


def outcomes(school):
    return Results(school.store, school.of).outcomes()


def all_right(school):
    """A row for every problem, with the columns of all steps that some of them need."""
    flat = [one for problems in school.handed for one in problems]
    steps = sorted({name for one in flat for name in school.right(one)[1]})
    rows = [(one.code, school.right(one)[0], *(school.right(one)[1].get(name, "") for name in steps)) for one in flat]
    return rows, ("code", "Answer", *steps)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_whole_class_is_marked(school, separator):
    rows, header = all_right(school)
    told = []
    report = mark_paper(
        school.store, school.engine, table(rows, header, separator), progress=lambda *at: told.append(at)
    )
    assert (report.verdicts, report.faults, report.new) == ({"right": 15}, [], 15)
    assert [one.state for one in outcomes(school)] == ["right"] * 15
    assert {answer.source for one in outcomes(school) for answer in one.answers} == {"paper"}
    assert told == [(15, 15)]


def test_running_it_twice_changes_nothing(school):
    rows, header = all_right(school)
    marked(school, rows, header)
    before = outcomes(school)
    again = marked(school, [*rows, *rows], header)
    assert (again.new, again.present) == (0, 30)
    assert outcomes(school) == before


def test_a_wrong_answer_names_its_mistake_and_takes_an_attempt(school):
    one = school.handed[0][1]
    report = marked(school, [(one.code, "77")])
    assert report.verdicts == {"wrong": 1}
    (answer,) = outcomes(school)[1].answers
    assert (answer.verdict, answer.counted, answer.entry) == ("wrong", True, "77")
    assert school.work[0].view(2).attempts_left == 1


def sent(school, rows, header=("Problem code", "Answer")):
    """A whole file sent as a correction: what was shown before, and what became of it."""
    data = table(rows, header)
    preview = paper.preview_paper(school.store, school.engine.library.quantities, data, school.of)
    return preview, mark_paper(school.store, school.engine, data, school.of, correct=True)


def counted(school, at):
    return [answer.entry for answer in outcomes(school)[at].answers if answer.counted]


def test_a_corrected_file_is_sent_as_a_whole(make_class):
    school = make_class(attempts=1)
    rows, header = all_right(school)
    wrong = [*rows]
    wrong[0], wrong[1] = (rows[0][0], "7.77"), (rows[1][0], "77")
    wrong = [(*row, *[""] * (len(header) - len(row))) for row in wrong]
    marked(school, wrong, header)
    before = outcomes(school)
    preview, report = sent(school, wrong, header)
    assert (preview.new, preview.present, preview.corrections, report.new, report.present) == (0, 15, [], 0, 15)
    assert outcomes(school) == before

    preview, report = sent(school, rows, header)
    assert [(one.handed.code, one.before, one.after) for one in preview.corrections] == [
        (rows[0][0], ["7.77"], [rows[0][1]]),
        (rows[1][0], ["77"], [rows[1][1]]),
    ]
    assert (preview.new, preview.present, preview.faults) == (0, 13, [])
    assert (report.verdicts, report.corrected, report.present, report.faults) == ({"right": 2}, 2, 13, [])
    assert [one.state for one in outcomes(school)] == ["right"] * 15
    assert [counted(school, at) for at in (0, 1)] == [[rows[0][1]], [rows[1][1]]]
    assert sent(school, rows, header)[1].corrected == 0

    back = sent(school, wrong, header)[1]  # the first file was the right one after all, whatever was solved by it
    assert (back.verdicts, back.corrected, back.faults) == ({}, 2, [])
    assert [counted(school, at) for at in (0, 1)] == [["7.77"], ["77"]]
    assert [one.state for one in outcomes(school)[:2]] == ["wrong"] * 2


def test_without_a_correction_another_answer_is_a_further_attempt(school):
    code = school.handed[0][1].code
    marked(school, [(code, "77")])
    preview, _ = sent(school, [(code, "77")])
    assert (preview.new, preview.present, preview.corrections) == (0, 1, [])
    marked(school, [(code, "78")])
    assert counted(school, 1) == ["77", "78"]


def test_a_file_with_both_attempts_corrects_the_one_that_differs(school):
    code = school.handed[0][1].code
    marked(school, [(code, "77"), (code, "78")])
    preview, report = sent(school, [(code, "77"), (code, "79")])
    assert [(one.before, one.after) for one in preview.corrections] == [(["78"], ["79"])]
    assert (report.corrected, counted(school, 1)) == (1, ["77", "79"])


def test_a_correction_that_cannot_be_read_or_is_not_due_leaves_the_answer_as_it_was(school):
    first, second = school.handed[0][1], school.handed[0][2]
    marked(school, [(first.code, "77"), (second.code, "77")])
    school.work[0].answer(3, *school.right(second), key="on the screen")
    _, report = sent(school, [(first.code, "what?"), (second.code, "78")])
    assert report.corrected == 0
    assert [fault.reason[:27] for fault in report.faults] == [
        "'what?' could not be judged",
        "not counted: the learner ha",
    ]
    assert counted(school, 1) == ["77"]
    assert "77" in counted(school, 2)


def test_an_answer_that_was_withdrawn_by_hand_stays_so_when_the_file_comes_again(school):
    code = school.handed[0][1].code
    marked(school, [(code, "77")])
    Results(school.store, school.of).withdraw(outcomes(school)[1].answers[0].id)
    assert sent(school, [(code, "77")])[1].present == 1
    assert counted(school, 1) == []


def test_a_correction_leaves_answers_on_the_screen_alone(school):
    one = school.handed[0][1]
    school.work[0].answer(2, "76", key="on the screen")
    marked(school, [(one.code, "77")])
    assert sent(school, [(one.code, "78")])[1].corrected == 1
    assert counted(school, 1) == ["76", "78"]


def test_a_preview_tells_codes_that_nobody_has(school):
    preview, _ = sent(school, [("2222-22", "9"), ("", "1"), (school.handed[0][0].code, "")])
    assert [fault.line for fault in preview.faults] == [2, 3]
    assert (preview.new, preview.blank) == (0, 1)


def test_what_cannot_be_used_is_told_by_line_and_the_rest_is_done(school):
    first, second, third, other = (school.handed[0][at] for at in (0, 1, 2, 4))
    rows = [
        (first.code, *school.right(first)[:1]),
        ("7KQ4-2X", "9"),
        (second.code, ""),
        ("", "12"),
        (second.code, "1,234"),
        (third.code, school.right(third)[0]),
        (other.code, "=cmd()", "3"),
        ("2222-22", "9"),
        (),
        (other.code, "=cmd()"),
    ]
    report = marked(school, rows)
    assert report.verdicts == {"right": 2, "unclear": 1, "refused": 1}
    assert report.blank == 1
    assert [(fault.line, fault.reason[:36]) for fault in report.faults] == [
        (3, "'7KQ4-2X' is no problem's code: a ch"),
        (5, "'' is no problem's code: a character"),
        (6, "'1,234' could not be judged: “1,234”"),
        (8, "the row has 3 cells, the header 2. Q"),
        (9, "no problem with the code 2222-22 was"),
        (11, "'=cmd()' could not be judged: Type o"),
    ]
    again = marked(school, rows)
    assert (again.new, again.present, again.faults) == (0, 4, report.faults)


def test_a_step_of_the_wrong_problem_is_told_and_other_columns_are_left_out(school):
    second, order = school.handed[0][1], school.handed[0][4]
    header = ("name", "Problem code", "Answer", "cold voltage", "seen by")
    report = marked(
        school,
        [("Ana", second.code, "77", "47 V", "me"), ("Ana", order.code, "A", "47 V", "")],
        header,
    )
    assert report.verdicts == {"wrong": 1}
    assert outcomes(school)[1].answers[0].steps == {"cold_voltage": "47 V"}
    assert [str(fault) for fault in report.faults] == [
        f"line 3: Problem {order.code} has no step 'cold_voltage'. It has none."
    ]


def test_attempts_count_and_closing_does_not(school, register, noon):
    one = school.handed[0][1]
    register.close(school.of.id)
    rows = [(one.code, "77"), (one.code, "78"), (one.code, school.right(one)[0])]
    report = marked(school, rows)
    assert report.verdicts == {"wrong": 2}
    assert [str(fault) for fault in report.faults] == [
        "line 4: not counted: the learner has used all attempts at this problem."
    ]
    assert outcomes(school)[1].state == "wrong"


def test_who_is_excused_or_done_or_has_seen_the_solution_gets_no_more(make_class, register):
    school = make_class(help="solution", solutions="when solved")
    first, second, third = school.handed[0][:3]
    school.work[0].answer(1, *school.right(first), key="a")
    Results(school.store, school.of).excuse(second.id)
    school.work[0].solution(3)
    register.close(school.of.id)
    report = marked(school, [(one.code, "77") for one in (first, second, third)])
    assert report.new == 0
    assert [fault.reason for fault in report.faults] == [
        "not counted: the learner has solved this problem already.",
        "not counted: the learner is excused from this problem.",
        "not counted: the learner has seen the worked solution.",
    ]


def test_paper_typed_in_after_closing_counts_though_the_learner_has_looked_at_the_solution_since(make_class, register):
    school = make_class(solutions="when closed")
    register.close(school.of.id)
    school.work[0].solution(1)
    one = school.handed[0][0]
    assert marked(school, [(one.code, school.right(one)[0])]).verdicts == {"right": 1}
    register.reopen(school.of.id)
    second = school.handed[0][1]
    school.work[0].answer(2, "77", key="a")
    assert marked(school, [(second.code, school.right(second)[0])]).verdicts == {"right": 1}


def test_an_answer_is_not_kept_by_a_right_answer_that_is_corrected_meanwhile(school, monkeypatch):
    one = school.handed[0][1]
    rows = [(one.code, school.right(one)[0])]

    def corrected_meanwhile(*what):
        marking = mark_assigned(*what)
        apply(school.store, school.engine, preview_answer(school.store, school.engine, one.id, "1"), "one is enough")
        return marking

    monkeypatch.setattr(paper, "mark_assigned", corrected_meanwhile)
    report = marked(school, rows)
    assert report.new == 0
    assert "corrected meanwhile. Run the file again" in report.faults[0].reason
    monkeypatch.undo()
    assert marked(school, rows).verdicts == {"wrong": 1}


def test_another_sets_codes_are_not_taken_for_this_ones(make_class):
    one, other = make_class(), make_class(id="other")
    data = table([(other.handed[0][0].code, "7.77")])
    report = mark_paper(one.store, one.engine, data, one.of)
    assert (report.new, report.faults[0].line) == (0, 2)
    assert mark_paper(one.store, one.engine, data, other.of).new == 1


def test_a_grid_is_marked_as_a_table_is(school):
    one = school.handed[2][0]
    entries = [PaperEntry(1, one.code, *school.right(one))]
    assert mark_entries(school.store, school.engine, entries, school.of).verdicts == {"right": 1}
    assert mark_entries(school.store, school.engine, entries, school.of).present == 1


def test_while_verdicts_are_kept_back_paper_tells_the_learner_nothing(make_class, noon):
    school = make_class(marked="when closed", closes=noon + timedelta(days=36500))
    answers = []
    for at, factor in enumerate((1.0, 1.001, 1.5)):
        one = school.handed[at][0]
        value = float(school.right(one)[0]) * factor
        marked(school, [(one.code, f"{value:.1e}")])
        view = school.work[at].view(1)
        answers.append((view.answers[0].verdict, view.answers[0].feedback, view.attempts_left, view.solved))
    assert answers == [("", SAVED, 1, None)] * 3


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "The table is empty"),
        (b"code\n7KQ4-2P\n", "No column is called 'answer'"),
        (b"answer\n7\n", "No column is called 'problem code'"),
    ],
)
def test_what_is_no_table_of_answers_is_told(school, data, told):
    with pytest.raises(ClassError, match=told):
        mark_paper(school.store, school.engine, data)


def test_no_answer_at_all_is_no_fault(school):
    report = marked(school, [])
    assert (report.new, report.faults) == (0, [])
