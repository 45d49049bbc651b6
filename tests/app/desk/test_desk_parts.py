"""The parts of the desk that need no browser: tables, words, names of files."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser

import pytest

from tutor.app.config import Settings
from tutor.app.desk import choice, making, matrix, paper, remarking, report, roster
from tutor.classroom.marking.paper import Correction, PaperPreview, PaperReport
from tutor.classroom.marking.regrade import Regrade
from tutor.classroom.models import Answer, AssignedProblem, Member, Outcome, PracticeSet, ProblemSnapshot, StoredSet
from tutor.classroom.reports import live
from tutor.classroom.reports.mistakes import ClassMistake
from tutor.classroom.reports.results import Whereabouts
from tutor.classroom.reports.statistics import Reliability
from tutor.classroom.roster.register import Entered
from tutor.classroom.sheets.name_cards import name_cards
from tutor.content.library import load

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOSTILE = '<img src=x onerror="alert(1)">&\u202e'


def handed(member, place, kind="number", **more):
    exercise = {"title": "A title", "story": [], "asks": {"input_voltage": "Which?"}}
    declaration = {"exercise": exercise, "quantities": {"input_voltage": {"kind": kind}}}
    return AssignedProblem(
        id=10 * member.id + place,
        member=member,
        place=place,
        code=f"P{member.id}{place}",
        exercise="an-exercise",
        version="1",
        number=1,
        ask="input_voltage",
        rulebook="us",
        snapshot=ProblemSnapshot(declaration=json.dumps(declaration)),
        **more,
    )


def outcome(one, *verdicts, excused=False):
    answers = [
        Answer(id=at, handed=one.id, key=str(at), at=NOW, source="screen", entry="1 V", verdict=verdict)
        for at, verdict in enumerate(verdicts)
    ]
    return Outcome(handed=replace(one, excused=excused), answers=answers)


class Cells(HTMLParser):
    """The texts of a table's body by row, and every element that was opened."""

    def __init__(self, html):
        super().__init__()
        self.rows, self.tags = [], set()
        self.feed(html[html.index("<div") :])

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_data(self, data):
        self.rows[-1][-1] += data


@pytest.fixture
def people():
    return [Member(id=1, name=HOSTILE, number="1"), Member(id=2, name="", number="77")]


def test_the_matrix_shows_each_state_with_sign_and_word_and_lets_no_name_in_as_markup(people):
    ana, bo = people
    there = [
        Whereabouts(member=ana, place=2, last_at=NOW - timedelta(minutes=5), last_answer=NOW - timedelta(seconds=20)),
        Whereabouts(member=bo, place=None, last_at=None, last_answer=None),
    ]
    outcomes = [
        outcome(handed(ana, 1), "wrong", "right"),
        outcome(handed(ana, 2), "wrong", "wrong"),
        outcome(handed(ana, 3), excused=True),
    ]
    cells = Cells(matrix.matrix_html(there, outcomes, 3, NOW))
    assert cells.rows[1] == [
        HOSTILE,
        "✔right",
        "✖ 2not right yet, 2 tries, is here",
        "–excused",
        "1 of 3",
        "problem 2, 5 min ago",
        "just now",
    ]
    assert cells.rows[2] == ["77", "○open", "○open", "○open", "0 of 3", "not begun", "none"]
    assert cells.tags <= {"div", "table", "thead", "tbody", "tr", "th", "td", "span", "small", "bdi"}


def test_who_has_answered_on_paper_alone_has_begun(people):
    ana, bo = people
    on_paper = Whereabouts(member=ana, place=None, last_at=None, last_answer=NOW)
    absent = Whereabouts(member=bo, place=None, last_at=None, last_answer=None)
    assert [(one.begun, live.where_told(one, NOW)) for one in (on_paper, absent)] == [
        (True, "on paper"),
        (False, "not begun"),
    ]


@pytest.mark.parametrize(
    ("ago", "told"),
    [
        (0, "just now"),
        (59, "just now"),
        (60, "1 min ago"),
        (3599, "60 min ago"),
        (7300, "2 h ago"),
        (200_000, "2 days ago"),
    ],
)
def test_how_long_ago(ago, told):
    assert live.ago(NOW - timedelta(seconds=ago), NOW) == told


def test_who_has_used_up_the_attempts(people):
    ana, bo = people
    outcomes = [
        outcome(handed(ana, 2), "wrong", "wrong"),
        outcome(handed(bo, 2), "wrong"),
        outcome(handed(bo, 1), "wrong", "wrong"),
        outcome(handed(ana, 1), "wrong", "right"),
    ]
    assert live.who_needs_help(outcomes, 2) == {1: [bo], 2: [ana]}


def a_set(**rules):
    declared = PracticeSet(id="a-set", title="A set", items=[{"exercise": "most-modules-in-series"}], **rules)
    return StoredSet(
        id=1, class_id=1, class_name="class", declaration=declared, code="ABC-DEF", secret="", class_secret="",
        made_at=NOW,
    )  # fmt: skip


def test_what_closing_does_is_told_first(people):
    ana, bo = people
    there = [Whereabouts(member=one, place=None, last_at=None, last_answer=None) for one in people]
    out_of_attempts = outcome(handed(ana, 1), "wrong", "wrong", "wrong")
    assert live.closing_told(a_set(), there, [out_of_attempts, outcome(handed(bo, 1), "wrong")]) == (
        "1 of 2 learners still has open problems. Once the set is closed, learners can't answer on a screen. An open "
        "problem then counts as wrong for a learner who has answered another one. Learners can then see the worked "
        "solutions. To accept answers again, reopen the set, but what learners have seen by then stays known."
    )
    never = live.closing_told(a_set(solutions="never"), there, [out_of_attempts])  # Bo has not got theirs yet
    assert never.startswith("1 of 2 learners still has")
    assert never.endswith("To accept answers again, reopen the set.")
    assert "see how each answer was marked and" in live.closing_told(a_set(marked="when closed"), there, [])


def test_the_grid_gives_answers_with_the_numbers_that_they_need(people):
    ana, bo = people
    outcomes = [
        outcome(handed(ana, 1)),
        outcome(handed(ana, 2, "answer", expected={"cold_voltage": 47.0, "input_voltage": 1.0})),
        outcome(handed(bo, 1), "right"),
        outcome(handed(bo, 2, "answer", expected={"cold_voltage": 47.0, "input_voltage": 1.0})),
    ]
    rows, keys = paper.grid_rows(outcomes)
    assert list(rows[0]) == ["Learner", "So far", "1", "2: number", "2: yes or no"]
    assert [row["So far"] for row in rows] == ["○○", "✔○"]
    rows[0] |= {"1": " 46.8 V ", "2: number": "47 V", "2: yes or no": "yes"}
    rows[1] |= {"1": None, "2: number": "48 V"}
    entries, faults = paper.grid_entries(rows, keys)
    assert [(one.code, one.entry, dict(one.steps)) for one in entries] == [
        ("P11", "46.8 V", {}),
        ("P12", "yes", {"cold_voltage": "47 V"}),
    ]
    assert [str(fault) for fault in faults] == ["line 2: problem P22 has a number without its yes or no."]


def test_what_became_of_paper_is_told():
    report = PaperReport(present=2, blank=1)
    report.verdicts.update({"right": 3, "unclear": 1})
    assert paper.report_told(report) == (
        "4 new answers were marked: 3 right, 1 not judged. 2 were there already. 1 row was blank."
    )


def test_what_a_table_would_change_is_told(people):
    correction = Correction(handed(people[0], 1), ["7 V"], ["8 V"])
    assert paper.preview_told(PaperPreview(2, 3, 0, [correction], [])) == (
        "2 new answers; 3 already entered. 1 problem has a different answer in this file."
    )
    assert paper.report_told(PaperReport(corrected=1)) == "0 new answers were marked. 1 earlier answer was corrected."


def test_what_became_of_a_roster_is_told(people):
    assert roster.entered_told(Entered(people, [], [])) == "2 learners were added."
    assert roster.entered_told(Entered([], people, people)) == (
        "0 learners were added, 2 were there already, 2 renamed by their number."
    )


def test_what_a_roster_would_change_is_told(people):
    assert roster.preview_told(Entered(people, [], [])) == "2 new learners; 0 on the roster already."
    assert roster.preview_told(Entered([], people, [Member(id=3, name="Ana", number="7")])) == (
        "0 new learners; 2 on the roster already. Renamed by the number: Ana \\(7\\)."
    )


@pytest.mark.parametrize(
    ("title", "taken", "expected"),
    [
        ("Strings on a cold morning", set(), "strings-on-a-cold-morning"),
        ("Strings", {"strings", "strings-2"}, "strings-3"),
        ("Čeda & Ötzi: 48 V!", set(), "eda-tzi-48-v"),
        ("48 volts", set(), "set-48-volts"),
        ("寒い朝", set(), "set"),
        ("x" * 300, set(), "x" * 50),
    ],
)
def test_a_title_makes_an_id(title, taken, expected):
    found = making.slug(title, taken)
    assert found == expected
    assert PracticeSet(id=found, title=title[:1200], items=[{"exercise": "most-modules-in-series"}]).id == found


def test_slips_hold_names_as_text(people):
    declared = PracticeSet(id="a-set", title="A <b>set</b>", items=[{"exercise": "most-modules-in-series"}])
    of = StoredSet(
        id=1,
        class_id=1,
        class_name="class",
        declaration=declared,
        code="ABC-DEF",
        secret="",
        class_secret="",
        made_at=NOW,
    )
    page = name_cards(of, "http://school.example/class-work?set=ABC-DEF", people, {1: "AAAA-BBBB", 2: "CCCC-DDDD"})
    assert "<img" not in page
    assert "<b>set" not in page
    assert page.count("<section>") == 2
    assert "AAAA-BBBB" in page
    assert "Open http://school.example/class-work?set=ABC-DEF<br>or type the set's code <b>ABC-DEF</b>" in page
    without = name_cards(of, "", people, {1: "AAAA-BBBB", 2: "CCCC-DDDD"})
    assert "://" not in without
    assert "<p>Type the set's code <b>ABC-DEF</b> on the page Class work.</p>" in without


def test_a_difference_of_nothing_is_told():
    assert remarking.difference_told(Regrade()) == "No problem has other values than before: nothing would change."


@pytest.mark.parametrize(
    ("started", "here", "origin"),
    [
        (Settings(), "http://127.0.0.1:8765", ""),
        (Settings(), "", ""),
        (Settings(served="http://192.0.2.20:8765"), "http://127.0.0.1:8765", "http://192.0.2.20:8765"),
        (Settings(served="http://192.0.2.20:8765"), "https://class.example", "https://class.example"),
        (Settings(named="https://a.example"), "https://class.example", "https://a.example"),
        (Settings(named="https://a.example", served="http://192.0.2.20:8765"), "", "https://a.example"),
    ],
)
def test_learners_get_the_address_that_was_named_else_one_that_their_devices_reach(started, here, origin):
    assert choice.origin_for_learners(started, here) == origin


def test_every_minus_of_the_reliability_is_a_minus():
    told = report.reliability_told(Reliability(kr20=-0.17, interval=(-1.84, 0.52), learners=15, places=4))
    assert "is −0.17 (95 % interval −1.84 to 0.52), from 15 learners and 4 problems." in told
    assert "interval" not in report.reliability_told(Reliability(kr20=0.5, interval=None, learners=2, places=4))


def test_a_mistake_tells_the_exercises_in_which_it_was_seen():
    again = PracticeSet(id="again", title="Again", items=[{"exercise": "most-modules-in-series"}])
    seen = ClassMistake(
        id="cold-left-out", words="the cold left out", says="", lesson="", lesson_title="", learners=1, perhaps=0.0,
        answers=1, broke_limit=0, did_harm=0, rank=1.0, examples=(), safety=(), follow_up=again,
        exercises=("most-modules-in-series", "one-that-is-gone"),
    )  # fmt: skip
    assert report.seen_in(seen, load()) == "Seen in: The most modules in one string; one-that-is-gone."
