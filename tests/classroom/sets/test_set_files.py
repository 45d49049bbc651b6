"""Practice sets as files: what is read, what is refused with line and mend, what is written back, what is proposed."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.classroom.models import Item, PracticeSet
from tutor.classroom.sets.set_files import SetError, check_set, proposed_items, read_set, written_set
from tutor.content.errors import ContentError
from tutor.content.library import load

LIBRARY = load()
SOUND = """\
id: week-3
title: Strings on a cold morning
rulebook: us
items:
  - exercise: most-modules-in-series
    problems: 3
  - exercise: conductor-for-current
attempts: 2
opens: 2026-03-02 08:00
closes: 2026-03-08T23:59+01:00
zone: Europe/Lisbon
"""


def read(text):
    return read_set(Path("week-3.yaml"), LIBRARY, text)


def test_a_set_is_read():
    found = read(SOUND)
    assert [(item.exercise, item.problems) for item in found.items] == [
        ("most-modules-in-series", 3),
        ("conductor-for-current", 1),
    ]
    assert len(found.places) == 4
    assert (found.help, found.marked, found.solutions) == ("hints", "at once", "when closed")


def test_a_time_without_an_offset_is_one_of_the_sets_zone():
    """Lisbon is on UTC in winter and an hour ahead in summer (IANA time zone database)."""
    assert read(SOUND).opens == datetime(2026, 3, 2, 8, tzinfo=UTC)
    assert read(SOUND.replace("2026-03-02", "2025-07-02")).opens == datetime(2025, 7, 2, 7, tzinfo=UTC)
    assert read(SOUND).closes == datetime(2026, 3, 8, 22, 59, tzinfo=UTC)


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        ("most-modules-in-series", "most-modules-in-serie", 5, "no exercise 'most-modules-in-serie'. Choose one of"),
        ("most-modules-in-series", "quux", 5, "'coldmorning exercises' lists them"),
        ("    problems: 3", "    ask: house_rule", 6, "does not ask for 'house_rule'. Choose one of modules_in_series"),
        ("    problems: 3", "    problems: 0", 6, "greater than or equal to 1"),
        ("    problems: 3", "    problems: 60", 1, "more than 60 problems in all"),
        ("rulebook: us", "rulebook: mars", 3, "'us' or 'iec'"),
        ("zone: Europe/Lisbon", "zone: Europe/Lisboa", 11, "There is no time zone 'Europe/Lisboa'"),
        ("zone: Europe/Lisbon", "zone: ../../etc/passwd", 11, "There is no time zone"),
        ("attempts: 2", "attempts: 2\nmarks: 3", 9, "no such field"),
        ("closes: 2026-03-08", "closes: 2025-03-08", 1, "'closes' is not after 'opens'"),
        ("opens: 2026-03-02 08:00", "opens: soon", 9, "opens"),
        ("attempts: 2", "help: solution", 1, "then 'solutions' is 'when solved'"),
        ("id: week-3", "id: Week 3", 1, "lower-case"),
        ("title: Strings", "title: &a Strings", 2, "anchors"),
    ],
)
def test_a_fault_is_told_with_its_line_and_its_mend(old, new, line, told):
    assert old in SOUND
    with pytest.raises(ContentError) as caught:
        read(SOUND.replace(old, new))
    assert told in str(caught.value)
    assert caught.value.line == line


def test_an_exercise_of_another_rulebook_is_refused():
    only_us = next(id_ for id_, one in LIBRARY.declared.items() if one.exercise.rulebooks == ["us"])
    text = SOUND.replace("rulebook: us", "rulebook: iec").replace("most-modules-in-series", only_us)
    with pytest.raises(ContentError, match="cannot be set under the rulebook iec"):
        read(text)


def test_a_set_made_without_a_file_is_checked_too():
    sound = read(SOUND)
    check_set(sound, LIBRARY)
    for changes in {"items": [Item(exercise="quux")]}, {"zone": "Nowhere"}:
        with pytest.raises(SetError):
            check_set(sound.model_copy(update=changes), LIBRARY)


MOMENTS = st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC))
SETS = st.builds(
    PracticeSet,
    id=st.from_regex(r"[a-z][a-z0-9]{0,8}(-[a-z0-9]{1,8}){0,3}", fullmatch=True),
    title=st.text(st.characters(categories=["L", "N", "P", "S", "Zs"]), min_size=2, max_size=60).filter(
        lambda text: len(text.strip()) >= 2
    ),
    items=st.lists(
        st.builds(Item, exercise=st.sampled_from(list(LIBRARY.orders)), problems=st.integers(1, 10)),
        min_size=1,
        max_size=6,
    ),
    attempts=st.integers(1, 20),
    help=st.sampled_from(["nothing", "hints"]),
    marked=st.sampled_from(["at once", "when closed"]),
    solutions=st.sampled_from(["when solved", "when closed", "never"]),
    rulebook=st.sampled_from(["us", "iec"]),
    opens=st.none() | MOMENTS,
    zone=st.sampled_from(["UTC", "Europe/Lisbon", "America/Halifax"]),
)


@settings(max_examples=100, deadline=None)
@given(SETS, st.integers(1, 10**6))
def test_what_is_written_reads_as_the_same_set(practice_set, minutes):
    if practice_set.opens is not None:
        closes = practice_set.opens + timedelta(minutes=minutes)
        practice_set = practice_set.model_copy(update={"closes": closes})
    assert read(written_set(practice_set)) == practice_set


@settings(max_examples=60, deadline=None)
@given(
    lessons=st.sets(st.sampled_from(sorted(LIBRARY.lessons)), min_size=1),
    problems=st.integers(1, 60),
    level=st.none() | st.integers(1, 3),
    rulebook=st.sampled_from(["us", "iec"]),
)
def test_a_proposal_has_as_many_problems_and_fits(lessons, problems, level, rulebook):
    if not any(
        one.lesson in lessons
        and (level is None or one.level <= level)
        and rulebook in getattr(one, "rulebooks", [rulebook])
        for one in LIBRARY.exercises.values()
    ):
        with pytest.raises(SetError, match="No exercise"):
            proposed_items(LIBRARY, lessons, problems, level, rulebook)
        return
    items = proposed_items(LIBRARY, lessons, problems, level, rulebook)
    proposed = PracticeSet(id="x", title="xx", rulebook=rulebook, items=items)
    check_set(proposed, LIBRARY)
    assert len(proposed.places) == problems
    chosen = [LIBRARY.exercises[item.exercise] for item in items]
    assert {one.lesson for one in chosen} <= lessons
    assert all(level is None or one.level <= level for one in chosen)
    counts = [item.problems for item in items]
    assert max(counts) - min(counts) <= 1
    assert len({item.exercise for item in items}) == len(items)


def test_an_unknown_lesson_is_told():
    with pytest.raises(SetError, match="There is no lesson 'quux'"):
        proposed_items(LIBRARY, ["quux"], 3)
    with pytest.raises(SetError, match="1 to 60"):
        proposed_items(LIBRARY, ["ampacity"], 61)


@pytest.mark.parametrize("zone", ["5", "[UTC]", "''", "../../etc/passwd", "Nowhere/Land"])
def test_an_odd_time_zone_is_told_in_a_sentence(tmp_path, library, zone):
    file = tmp_path / "set.yaml"
    items = "items: [{exercise: most-modules-in-series}]"
    file.write_text(f"id: a\ntitle: A set\nzone: {zone}\nopens: 2026-03-02 09:00\n{items}\n")
    with pytest.raises(ContentError, match="time zone"):
        read_set(file, library)
