"""What an open exam closes, to whom and until when; the switch; who has looked all the same."""

from contextlib import closing
from datetime import timedelta

import pytest
from sqlalchemy import delete, func, select

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Item, Member
from tutor.classroom.roster.claims import Claims
from tutor.classroom.sets.exams import Exams
from tutor.learner.record import new_token
from tutor.store.database import Store, StoreError
from tutor.store.tables import exam_look, practice_set

EXERCISE = "most-modules-in-series"
EXAM = {
    "marked": "when closed",
    "solutions": "never",
    "items": [Item(exercise=EXERCISE), Item(exercise="switching-on")],
}


@pytest.fixture
def exams(store):
    return Exams(store)


@pytest.fixture
def closed(exams, engine, noon):
    """closed(token): what is closed at noon, or at `after` it."""
    return lambda token, after=timedelta(): exams.closed_to(engine, token, noon + after)


def claim(store, of, token, member):
    """Take a member's name in a browser, with the personal code as on a slip."""
    claims = Claims(store, of)
    claims.claim(token, member.name, claims.personal_code(member))


@pytest.fixture
def ana(store, members):
    """ana(of): the token of a browser in which Ana has taken her name in the class of a set."""

    def claimed(of):
        claim(store, of, token := new_token(), members[0])
        return token

    return claimed


@pytest.mark.parametrize(
    ("rules", "is_closed"),
    [
        ({}, True),
        ({"solutions": "when closed"}, True),
        ({"solutions": "when solved"}, True),  # which shows nothing either before the verdicts are shown
        ({"marked": "at once"}, False),
        ({"marked": "at once", "solutions": "when closed"}, False),
    ],
)
def test_only_a_set_that_keeps_its_verdicts_back_closes_its_exercises(make_set, ana, closed, rules, is_closed):
    assert (EXERCISE in closed(ana(make_set(**{**EXAM, **rules})))) == is_closed


@pytest.mark.parametrize(
    ("opens", "closes", "is_closed"),
    [
        (None, None, True),
        (1, None, False),
        (0, None, True),
        (-1, 1, True),
        (None, 0, False),
        (-2, -1, False),
    ],
)
def test_a_set_closes_them_from_its_opening_to_its_closing(make_set, ana, closed, noon, opens, closes, is_closed):
    times = {"opens": opens, "closes": closes}
    moments = {name: None if hours is None else noon + timedelta(hours=hours) for name, hours in times.items()}
    assert (EXERCISE in closed(ana(make_set(**EXAM, **moments)))) == is_closed


def test_closing_by_hand_opens_them_and_reopening_closes_them_again(make_set, register, ana, closed):
    of = make_set(**EXAM)
    token = ana(of)
    register.close(of.id)
    assert closed(token) == {}
    register.reopen(of.id)
    assert EXERCISE in closed(token)


def test_what_works_out_the_same_answer_is_closed_too(make_set, ana, closed):
    found = closed(ana(make_set(**EXAM)))
    assert {EXERCISE, "switching-on", "most-modules-by-table", "string-lengths-in-the-window"} == set(found)


@pytest.mark.parametrize(
    ("exercise", "ask", "tells"),
    [
        # The string's voltage in the cold is a step of this one, with the factors in another order.
        ("string-voltage-by-table", None, "coefficient-against-table"),
        ("string-voltage-at-record-low", None, "does-the-string-survive"),
        # Asked the other way round, the relations are the same.
        (EXERCISE, "record_low", "string-lengths-in-the-window"),
        ("conductor-in-a-hot-conduit", None, "conductor-for-current"),
    ],
)
def test_an_exercise_that_has_the_answer_as_a_step_is_closed(make_set, ana, closed, exercise, ask, tells):
    assert tells in closed(ana(make_set(**{**EXAM, "items": [Item(exercise=exercise, ask=ask)]})))


def test_another_exercise_of_the_lesson_stays_open(make_set, ana, closed):
    assert "fewest-modules-in-series" not in closed(ana(make_set(**EXAM)))


def test_an_exercise_that_the_content_has_lost_does_no_harm(make_set, ana, closed):
    assert "gone-since" in closed(ana(make_set(**{**EXAM, "items": [Item(exercise="gone-since")]})))


def test_another_class_and_a_browser_without_a_name_are_free_unless_the_switch_is_on(
    make_set, register, store, exams, ana, closed
):
    of = make_set(**EXAM)
    others = register.open_set(of.declaration.model_copy(update={"id": "other", "marked": "at once"}), "others")
    dan, nobody = new_token(), new_token()
    claim(store, others, dan, register.enter([Member(id=0, name="Dan")], "others").new[0])
    assert closed(dan) == closed(nobody) == {}
    exams.turn_on(of)
    for token in (dan, nobody):
        (why,) = closed(token)[EXERCISE]
        assert (why.member, why.in_class) == (None, False)
    (why,) = closed(ana(of))[EXERCISE]
    assert (why.member.name, why.in_class) == ("Ana", True)
    exams.turn_off()
    assert closed(dan) == closed(nobody) == {}


@pytest.mark.parametrize("way", ["left by the learner", "released at the desk"])
def test_who_leaves_the_name_is_still_in_the_class_for_its_exams(make_set, store, ana, closed, register, members, way):
    of = make_set(**EXAM)
    token, claims = ana(of), Claims(store, of)
    if way == "left by the learner":
        claims.leave(token)
    else:
        register.release(members[0].id)
    assert claims.member(token) is None
    (why,) = closed(token)[EXERCISE]
    assert (why.member, why.in_class) == (None, True)
    claim(store, of, token, members[1])
    assert closed(token)[EXERCISE][0].member.name == "Bo"
    claims.leave(token)
    register.close(of.id)
    assert closed(token) == {}


def test_a_name_taken_on_another_browser_closes_nothing_here_but_the_switch_does(
    make_set, store, exams, members, closed
):
    of, here = make_set(**EXAM), new_token()
    claim(store, of, there := new_token(), members[1])
    assert EXERCISE in closed(there)
    assert closed(here) == {}
    exams.turn_on(None)
    assert EXERCISE in closed(here)


def test_the_switch_for_a_set_closes_that_one_alone_whatever_its_kind(make_set, exams, closed):
    at_once = make_set(id="at-once", items=[Item(exercise="battery-cable")])
    make_set(**EXAM)
    exams.turn_on(at_once)
    assert "battery-cable" in closed("")
    assert EXERCISE not in closed("")
    exams.turn_on(None)  # for all of the kind
    assert "battery-cable" not in closed("")
    assert EXERCISE in closed("")


def test_the_switch_waits_for_the_opening_and_ends_with_the_set(make_set, register, exams, closed, noon):
    hour = timedelta(hours=1)
    of = make_set(**EXAM, opens=noon + hour, closes=noon + 2 * hour)
    exams.turn_on(of, noon)
    assert [EXERCISE in closed("", after) for after in (0 * hour, hour, 2 * hour)] == [False, True, False]
    assert "takes effect when the set opens on Monday 2 March 2026 at 13:00 (UTC)" in exams.switch_words(noon)
    assert "closed to everybody on this server until Monday 2 March 2026 at 14:00" in exams.switch_words(noon + hour)
    assert "That set is closed, so nothing is closed by the switch" in exams.switch_words(noon + 2 * hour)
    register.close(of.id)
    with pytest.raises(ClassError, match=r"is closed\. Reopen it"):
        exams.turn_on(of, noon + 2 * hour)


def test_the_switch_is_kept_in_the_store(make_set, exams, engine, store_address):
    of = make_set(**EXAM)
    exams.turn_on(of)
    with closing(Store.open(store_address)) as later:
        assert Exams(later).switch().practice_set == of
        assert EXERCISE in Exams(later).closed_to(engine, "")
        Exams(later).turn_off()
    assert exams.switch() is None
    assert exams.switch_words() == "The exam switch is off."


def test_a_set_that_is_gone_does_not_turn_the_switch_into_one_for_all(make_set, exams, closed, store_address, store):
    def erase(connection):
        connection.execute(delete(practice_set).where(practice_set.c.id == gone.id))

    gone, _ = make_set(**EXAM), make_set(**EXAM | {"id": "other"})
    exams.turn_on(gone)
    if store_address.startswith("postgresql"):  # PostgreSQL itself keeps the set that the switch names
        with pytest.raises(StoreError):
            store.write(erase)
        assert EXERCISE in closed("")
        return
    store.write(erase)
    assert closed("") == {}
    assert "a set that no longer exists" in exams.switch_words()


def test_the_switch_for_all_names_what_it_closes_now(make_set, register, exams):
    of = make_set(**EXAM, title="Winter exam")
    exams.turn_on(None)
    assert "Open now: “Winter exam”." in exams.switch_words()
    register.close(of.id)
    assert "No such set is open, so nothing is closed now." in exams.switch_words()


def test_why_says_the_set_and_until_when_and_to_strangers_no_title(make_set, exams, ana, closed, noon):
    of = make_set(**EXAM, title="Winter exam", closes=noon + timedelta(hours=6), zone="America/Halifax")
    late = make_set(**EXAM | {"id": "late"}, title="Spring exam")
    both = closed(ana(of))[EXERCISE]
    assert [why.practice_set.id for why in both] == [of.id, late.id]
    told = [why.words("The most modules") for why in both]
    assert told[0] == (
        "“The most modules” would give away answers to the set “Winter exam”, which is still open. You can use this "
        "exercise again after the set closes on Monday 2 March 2026 at 14:00 (America/Halifax)."
    )
    assert told[1].endswith("You can use this exercise again after your instructor closes the set.")
    exams.turn_on(of, noon)
    (why,) = closed(new_token())[EXERCISE]
    assert why.words("The most modules").startswith("An exam is running on this server")
    assert "Winter exam" not in why.words("The most modules")


def test_looks_are_counted_for_each_learner_and_exercise_and_grow_no_further(
    make_set, store, exams, ana, closed, noon, members
):
    of = make_set(**EXAM)
    exams.turn_on(of)
    token = ana(of)
    for at in range(40):
        moment = noon + timedelta(minutes=at)
        exams.note_look(EXERCISE, closed(token)[EXERCISE], moment)
        exams.note_look(EXERCISE, closed(token)[EXERCISE], moment + timedelta(milliseconds=300))  # the same look
        exams.note_look("switching-on", closed(new_token())["switching-on"], moment)
    nobody, mine = sorted(exams.recorded_looks(of), key=lambda look: look.visitor)
    assert (mine.visitor, mine.exercise, mine.looks) == ("Ana (7)", EXERCISE, 40)
    assert (mine.first_at, mine.last_at) == (noon, noon + timedelta(minutes=39))
    assert (nobody.visitor, nobody.exercise, nobody.looks) == ("A browser without a name", "switching-on", 40)
    with store.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(exam_look)) == 2


def test_who_is_erased_leaves_no_look(make_set, exams, register, ana, closed, members):
    of = make_set(**EXAM)
    why = closed(ana(of))[EXERCISE]
    exams.note_look(EXERCISE, why)
    register.erase(members[0].id)
    assert exams.recorded_looks(of) == []
    exams.note_look(EXERCISE, why)  # the page had begun before
    assert exams.recorded_looks(of) == []
