"""An open exam at the pages: the attack by the address of a problem, and what is shown in its place."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import tutor.app
from tutor.app import session
from tutor.classroom.desk import InstructorAuth
from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.exams import LIMITS, Exams
from tutor.content.library import load
from tutor.learner.record import Record

MAIN = Path(tutor.app.__file__).parent / "main.py"
ANA, NOBODY = "a" * 43, "n" * 43
EXERCISE = "most-modules-in-series"
TITLE = load().exercises[EXERCISE].title
OWN = ["module_voc=41.3 V", "voc_coefficient=-0.27 %/K", "record_low=-24 degC", "input_voltage_max=450 V"]
CLOSED = "Closed for now"


@pytest.fixture
def of(pages_store):
    """An exam that opens and closes by hand, in whose class the browser ANA has taken a name."""
    register = Register(session.store())
    rules = {"marked": "when closed", "solutions": "never", "items": [Item(exercise=EXERCISE)]}
    of = register.open_set(PracticeSet(id="exam", title="Winter exam", **rules))
    (ana,) = register.enter([Member(id=0, name="Ana")]).new
    claims = Claims(session.store(), of)
    claims.claim(ANA, "Ana", claims.personal_code(ana))
    return of


def opened(name: str, learner: str = ANA, **query) -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=60)
    app.session_state["learner"] = learner
    app.run()
    app.switch_page(f"screens/{name}.py")
    for key, value in query.items():
        app.query_params[key] = value
    app.run()
    assert not app.exception
    return app


def links(app: AppTest) -> list[str]:
    return [link.proto.label for link in app.get("page_link")]


@pytest.mark.one_in(3)
@pytest.mark.parametrize("page", ["practice", "working"])
@pytest.mark.parametrize(
    "query",
    [
        {"exercise": EXERCISE},
        {"exercise": EXERCISE, "number": "7", "rulebook": "iec"},
        {"exercise": EXERCISE, "given": OWN},
        {"exercise": EXERCISE, "given": [*OWN[:3], "input_voltage_max=1 V"]},  # which is refused with a reason else
        {"exercise": EXERCISE, "ask": "cold_voltage", "given": OWN[:3]},
        {"exercise": "string-lengths-in-the-window"},
        {"exercise": "most-modules-by-table"},
    ],
    ids=lambda query: " ".join(map(str, query.values())) if isinstance(query, dict) else None,
)
def test_a_member_gets_no_marking_hint_or_solution_by_any_address(of, page, query):
    app = opened(page, **query)
    assert app.title[0].value == CLOSED
    assert [*app.text_input, *app.text_area, *app.button, *app.toggle, *app.expander, *app.error] == []
    assert "Winter exam" in app.info[0].value
    assert "after your instructor closes the set" in app.info[0].value
    assert [label.split(":")[0] for label in links(app)] == ["Choose another exercise", "Lesson"]


def test_a_page_that_was_open_before_the_exam_gives_nothing_after_it_opens(of):
    """Neither the worked solution by its button, nor a verdict by Enter."""
    register, now = Register(session.store()), datetime.now(UTC)
    register.change_times(of.id, now + timedelta(hours=1), None)
    pages = [opened("practice", exercise=EXERCISE, given=OWN) for _ in range(2)]
    register.change_times(of.id, None, None)
    next(button for button in pages[0].button if button.label == "Show the worked solution").click().run()
    next(box for box in pages[1].text_input if box.key.startswith("answer ")).input("9")
    next(button for button in pages[1].button if button.label == "Check the answer").click().run()
    for app in pages:
        assert app.title[0].value == CLOSED
        assert [*app.success, *app.error, *app.latex] == []
    assert Record(session.store(), ANA).attempts() == []


def test_the_lists_offer_what_is_open(of):
    for page in ("practice", "working"):
        to_members, to_others = ({label.split(" · ")[0] for label in links(opened(page, who))} for who in (ANA, NOBODY))
        same = {EXERCISE, "most-modules-by-table", "string-lengths-in-the-window"}
        assert to_others - to_members == {load().exercises[id_].title for id_ in same}


def test_a_browser_without_a_name_is_stopped_by_the_switch_alone(of):
    asked = {"exercise": EXERCISE, "given": OWN}
    assert opened("practice", NOBODY, **asked).title[0].value == TITLE
    Exams(session.store()).turn_on(of)
    for page in ("practice", "working"):
        app = opened(page, NOBODY, **asked)
        assert app.title[0].value == CLOSED
        assert "An exam is running on this server" in app.info[0].value
        assert "Winter exam" not in app.info[0].value
    Exams(session.store()).turn_off()
    assert opened("practice", NOBODY, **asked).title[0].value == TITLE


def test_neither_leaving_the_name_nor_erasing_the_practice_opens_it(of):
    app = opened("progress")
    app.checkbox[0].check()
    next(button for button in app.button if button.label == "Erase").click().run()
    assert "Erase after it closes" in app.warning[0].value
    assert opened("practice", exercise=EXERCISE).title[0].value == CLOSED
    Claims(session.store(), of).leave(ANA)
    assert opened("practice", exercise=EXERCISE).title[0].value == CLOSED
    Register(session.store()).close(of.id)
    assert opened("practice", exercise=EXERCISE).title[0].value == TITLE


def desk_tab(name: str, class_name: str) -> None:
    """A tab of the desk, entered without the gate."""
    from datetime import UTC, datetime
    from importlib import import_module

    from tutor.app import session
    from tutor.app.desk.instructor import Chosen, InstructorSession
    from tutor.classroom.desk import InstructorAuth

    instructor = InstructorSession(InstructorAuth(session.store()).begin_for_owner(datetime.now(UTC)))
    import_module(f"tutor.app.desk.{name}").show(
        instructor, Chosen(class_name, instructor.register.sets(class_name)[0])
    )


def test_the_desk_turns_the_switch_and_says_what_it_cannot_do(of):
    app = AppTest.from_function(desk_tab, default_timeout=60, args=("sets", of.class_name)).run()
    assert not app.exception
    said = "\n".join(one.value for one in app.markdown)
    assert LIMITS in said
    assert "The exam switch is off" in said
    for label, expected in (("Turn on for this set", of.id), ("Turn on for all exams", None)):
        next(button for button in app.button if button.label == label).click().run()
        assert Exams(session.store()).switch().set_id == expected
    next(button for button in app.button if button.label == "Turn off").click().run()
    assert Exams(session.store()).switch() is None


def test_the_desk_shows_who_has_looked_at_what_and_how_often(of):
    Exams(session.store()).turn_on(of)
    for learner in (ANA, NOBODY):
        opened("practice", learner, exercise=EXERCISE)
    app = AppTest.from_function(desk_tab, default_timeout=60, args=("live", of.class_name)).run()
    assert not app.exception
    table = next(one.value for one in app.markdown if "| Who |" in one.value)
    found = [[cell.strip() for cell in line.strip("|").split("|")][:3] for line in table.splitlines()[2:]]
    assert sorted(found) == [["A browser without a name", TITLE, "1"], ["Ana", TITLE, "1"]]


def making_rules() -> None:
    """The rules of a set that is being made."""
    from tutor.app.desk import making

    making._rules(0, {})


def test_what_an_exam_cannot_prevent_is_said_where_it_is_made(of):
    app = AppTest.from_function(making_rules, default_timeout=60).run()
    assert LIMITS not in [one.value for one in app.caption]
    box = next(one for one in app.selectbox if one.label == "Learners see whether they are right")
    box.select("when closed").run()
    assert LIMITS in [one.value for one in app.caption]


def test_a_lessons_example_is_closed_only_where_it_is_the_answer_itself(of):
    """An order is the same for everybody; numbers are not."""
    items = [Item(exercise="switching-on")]
    Register(session.store()).open_set(of.declaration.model_copy(update={"id": "order", "items": items}))
    closed = opened("lessons", lesson="switch-on-order")
    assert [("Winter exam" in one.value) for one in closed.info] == [True, True]
    assert not closed.text_input
    assert len(opened("lessons", NOBODY, lesson="switch-on-order").text_input) == 1
    assert opened("lessons", lesson="cold-voltage").latex


def test_the_desk_says_on_every_tab_that_the_switch_is_on(of):
    InstructorAuth(session.store()).set_passphrase("four words before dawn")
    app = opened("class_desk")
    app.text_input[0].input("four words before dawn")
    app.button[0].click().run()
    assert not [one for one in app.warning if "exam switch" in one.value]
    Exams(session.store()).turn_on(of)
    for tab in ("Sets", "Live", "Exports"):
        app.session_state["tab"] = tab
        app.run()
        assert not app.exception
        assert "The exam switch is on for “Winter exam”" in app.warning[0].value
