"""The register: sets put in, closed and opened again; members entered once; names taken, released, erased."""

from datetime import timedelta

import pytest
from sqlalchemy import MetaData, select

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Item, Member
from tutor.classroom.reports.results import handed_by_code
from tutor.classroom.roster.claims import Claims, sets_of
from tutor.classroom.roster.names import same_name
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.learner.record import Attempt, Record, new_token


def test_a_set_comes_back_as_it_was_put_in(make_set, register):
    of = make_set()
    assert register.sets() == [of]
    assert register.set_of_code(of.code.lower().replace("-", " ")) == of
    assert register.find_set("cold-strings") == register.find_set(of.code) == register.get(of.id) == of
    assert len(of.secret) == 64
    assert of.secret not in repr(of)


def test_the_same_set_again_is_the_same_and_another_of_its_id_is_refused(make_set):
    assert make_set() == make_set()
    with pytest.raises(ClassError, match="another set 'cold-strings' already"):
        make_set(items=[Item(exercise="drop-on-a-run")])


def test_a_second_class_has_its_own_sets_and_members(register, make_set, members):
    other = register.open_set(make_set().declaration, "evening")
    assert register.classes() == ["class", "evening"]
    assert register.sets("evening") == [other]
    assert register.members("evening") == []
    assert register.members() == members
    with pytest.raises(ClassError, match="Several classes"):
        register.find_set("cold-strings")
    assert register.find_set("cold-strings", "evening") == other


@pytest.mark.parametrize("code", ["", "ABC-DEF", "quux", "000-000", "'; DROP TABLE", "A" * 10**5])
def test_a_wrong_code_names_no_set(register, make_set, code):
    make_set()
    with pytest.raises(ClassError, match="No practice set has this code"):
        register.set_of_code(code)


def test_a_name_is_found_also_without_the_characters_in_it_that_cannot_be_seen(register, make_set, store):
    register.enter([Member(id=0, name="Ana\u200b Lima\ufeff"), Member(id=0, name="\u200eBo\u00ad", number="8\u2060")])
    again = register.enter([Member(id=0, name="Ana Lima"), Member(id=0, name="Bo", number="8")])
    assert (len(again.new), len(again.present)) == (0, 2)
    claims = Claims(store, make_set())
    assert claims.claim(new_token(), "ana lima").name.startswith("Ana")
    assert claims.claim(new_token(), "8").name.startswith("\u200eBo")


@pytest.mark.parametrize("nothing", ["", "  ", "\u200b", "\u00ad \u2060"])
def test_nothing_names_nobody_not_even_who_has_no_name(register, make_set, store, nothing):
    register.enter([Member(id=0, name="", number="8")])
    with pytest.raises(ClassError):
        Claims(store, make_set()).claim(new_token(), nothing)
    assert not same_name("", nothing)


def test_times_decide_whether_a_set_is_open(register, make_set, noon):
    hour = timedelta(hours=1)
    of = make_set(opens=noon, closes=noon + hour)
    moments = (noon - hour, noon, noon + hour - timedelta(microseconds=1), noon + hour)
    assert [of.state(at) for at in moments] == ["not yet", "open", "open", "closed"]
    assert register.close(of.id, noon).state(noon) == "closed"
    assert register.close(of.id, noon + hour).closed_at == noon
    again = register.reopen(of.id, noon + 3 * hour, moment=noon + 2 * hour)
    assert again.state(noon + 2 * hour) == "open"
    assert register.change_times(of.id, None, None).state(noon + 9 * hour) == "open"
    with pytest.raises(ClassError, match="not after"):
        register.change_times(of.id, noon, noon)
    with pytest.raises(ClassError, match="in the past"):
        register.reopen(of.id, noon, moment=noon)


def test_a_set_put_in_again_after_its_times_changed_is_still_the_same(register, make_set, noon):
    of = make_set()
    register.change_times(of.id, noon, None)
    assert make_set().declaration.opens == noon


def test_a_roster_entered_twice_adds_nobody(register, members):
    again = register.enter(Member(id=0, name=one.name.upper(), number=one.number) for one in members)
    assert (again.new, again.present) == ([], members)
    assert register.members() == members


def test_the_number_tells_who_it_is_and_a_new_name_renames(register, members):
    found = register.enter([Member(id=0, name="Ana Maria", number="7"), Member(id=0, name="Bo", number="9")])
    assert [one.name for one in found.renamed] == ["Ana Maria"]
    assert [(one.name, one.number) for one in found.new] == [("Bo", "9")]
    assert len(register.members()) == 4


def test_a_corrected_roster_is_looked_at_first_and_then_taken_as_a_whole(register, members):
    corrected = [
        Member(id=0, name="Ana Maria", number="7"),
        Member(id=0, name="Bo", number="8"),
        Member(id=0, name="Čeda", number="9"),
        Member(id=0, name="Dan"),
        Member(id=0, name="Dan", number="10"),
    ]
    seen = register.preview(corrected)
    assert register.members() == members
    made = register.enter(corrected)
    for one in (seen, made):
        assert [member.name for member in one.new] == ["Dan"]
        assert [member.name for member in one.renamed] == ["Ana Maria"]
        assert [(member.name, member.number) for member in one.present] == [("Bo", "8"), ("Čeda", "9"), ("Dan", "10")]
    there = register.members()
    assert [(one.name, one.number) for one in there] == [
        ("Ana Maria", "7"),
        ("Bo", "8"),
        ("Čeda", "9"),
        ("Dan", "10"),
    ]
    assert [one.id for one in there[:3]] == [one.id for one in members]
    assert made.new[0].id == made.present[2].id == there[3].id


def claims(store, of):
    return Claims(store, of)


def test_a_name_is_taken_once_and_on_a_further_device_by_the_personal_code(store, make_set, members):
    ours = claims(store, make_set())
    first, second, thief = new_token(), new_token(), new_token()
    assert ours.member(first) is None
    ana = ours.claim(first, " ana ")
    assert ana == members[0] == ours.member(first) == ours.claim(first, "7")
    code = ours.personal_code(ana)
    for wrong in ("", "AAAA-AAAA", ours.personal_code(members[1]), code[:-1]):
        with pytest.raises(ClassError, match="does not let you in"):
            ours.claim(thief, "Ana", wrong)
    assert ours.member(thief) is None
    assert ours.claim(second, "7", code.lower().replace("-", "")) == ana
    assert ours.member(first) == ours.member(second) == ana


def test_the_desk_can_release_a_name(store, register, make_set, members):
    ours = claims(store, make_set())
    token = new_token()
    ours.claim(token, "Ana")
    assert list(register.claimed()) == [members[0].id]
    register.release(members[0].id)
    assert ours.member(token) is None
    assert register.claimed() == {}
    assert ours.claim(new_token(), "Ana") == members[0]


def test_on_a_shared_device_one_leaves_before_the_next(store, make_set, members):
    ours = claims(store, make_set())
    token = new_token()
    ours.claim(token, "Ana")
    with pytest.raises(ClassError, match="On this device you are Ana"):
        ours.claim(token, "Bo")
    ours.leave(token)
    assert ours.claim(token, "Bo") == members[1]
    ours.leave(token)
    with pytest.raises(ClassError, match="does not let you in"):
        ours.claim(token, "Ana")
    assert ours.claim(token, "Ana", ours.personal_code(members[0])) == members[0]


@pytest.mark.parametrize(
    ("typed", "told"), [("", "Nothing was typed"), ("Dana", "does not let"), ("Eva", "your number")]
)
def test_a_name_that_cannot_be_taken_is_told(store, register, make_set, members, typed, told):
    register.enter([Member(id=0, name="Eva", number="1"), Member(id=0, name="Eva", number="2")])
    with pytest.raises(ClassError, match=told):
        claims(store, make_set()).claim(new_token(), typed)


def test_who_is_of_another_class_is_nobody_here(store, register, make_set, members):
    other = register.open_set(make_set().declaration, "evening")
    token = new_token()
    claims(store, make_set()).claim(token, "Ana")
    assert claims(store, other).member(token) is None
    with pytest.raises(ClassError, match="does not let you in"):
        claims(store, other).claim(token, "Ana")


def test_personal_codes_are_not_in_the_store(store, make_set, members, held):
    ours = claims(store, make_set())
    ours.claim(new_token(), "Ana")
    assert b"cold-strings" in held()
    for one in members:
        assert ours.personal_code(one).encode() not in held()


def test_handing_out_again_gives_the_same(school):
    before = [one for problems in school.handed for one in problems]
    assert hand_out(school.store, school.engine, school.of) == before
    assert [[one.place for one in problems] for problems in school.handed] == [[1, 2, 3, 4, 5]] * 3
    assert len({one.code for one in before}) == 15
    assert hand_out(school.store, school.engine, school.of, school.members[1:2]) == school.handed[1]


def test_who_comes_later_gets_problems_too(school, register):
    late = register.enter([Member(id=0, name="Late", number="99")]).new
    told = []
    after = hand_out(school.store, school.engine, school.of, progress=lambda *at: told.append(at))
    assert [one.place for one in after if one.member == late[0]] == [1, 2, 3, 4, 5]
    assert after[:15] == [one for problems in school.handed for one in problems]
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_a_problem_is_found_by_its_printed_code(school):
    one = school.handed[1][2]
    assert handed_by_code(school.store, one.code.lower().replace("-", " ")) == (school.of.id, one)
    with pytest.raises(ClassError, match="is no problem's code"):
        handed_by_code(school.store, one.code[:-1] + ("2" if one.code[-1] != "2" else "3"))
    with pytest.raises(ClassError, match="No problem with the code 2222-22"):
        handed_by_code(school.store, "2222-22")


def row_counts(store):
    with store.reading() as connection:
        tables = MetaData()
        tables.reflect(connection)
        return {name: len(connection.execute(select(table)).all()) for name, table in tables.tables.items()}


def test_erasing_a_member_leaves_the_others_and_no_byte(school, register, held):
    tokens = [new_token() for _ in school.members]
    ids = [one.id for one in school.members]
    for at, (token, member, word) in enumerate(zip(tokens, school.members, ("ERASED", "OTHER", "THIRD"), strict=True)):
        school.claims().claim(token, member.name)
        Record(school.store, token).add(
            Attempt(exercise="x", version="1", number=1, ask="x", rulebook="us", entry=f"{word}-PRACTICE" * 50)
        )
        school.work[at].answer(1, f"{word}-ANSWER", key="a")
        school.work[at].keep_draft(2, school.handed[at][1].ask, f"{word}-DRAFT")
        school.work[at].arrive(2)
    register.erase(ids[0])
    counts = row_counts(school.store)
    assert b"ERASED" not in held()
    assert b"OTHER-ANSWER" in held()
    assert school.handed[0][0].code.encode() not in held()
    assert {
        name: counts[name] for name in ("member", "binding", "learner", "handed", "class_answer", "class_draft")
    } == {
        "member": 2,
        "binding": 2,
        "learner": 2,
        "handed": 10,
        "class_answer": 2,
        "class_draft": 2,
    }
    assert counts["whereabouts"] == 2
    again = hand_out(school.store, school.engine, school.of, school.members[1:])
    assert again == [*school.handed[1], *school.handed[2]]


def test_a_learners_own_erasing_leaves_the_classs_work_to_the_class(school, register):
    """Else whoever takes somebody's name could wipe their work."""
    token = new_token()
    school.claims().claim(token, "Ana")
    school.work[0].answer(1, "7.77", key="a")
    Record(school.store, token).keep_setting("rulebook", "iec")
    Record(school.store, token).erase()
    assert Record(school.store, token).setting("rulebook") is None
    assert school.claims().member(token) is None
    assert [member.name for member in register.members()] == ["Ana", "Bo", "Čeda"]
    assert len(school.work[0].view(1).answers) == 1


def test_a_released_name_has_another_personal_code(school, register):
    first, ana = new_token(), school.members[0]
    school.claims().claim(first, "Ana")
    old = school.claims().personal_code(ana)
    register.release(ana.id)
    school.claims().claim(new_token(), "Ana")
    with pytest.raises(ClassError, match="does not let you in"):
        school.claims().claim(first, "Ana", old)
    assert register.personal_codes()[ana.id] == school.claims().personal_code(ana) != old


def test_who_comes_after_somebody_erased_gets_nothing_of_theirs(school, register):
    last = school.members[-1]
    code, problems = register.personal_codes()[last.id], [one.number for one in school.handed[-1]]
    register.erase(last.id)
    (new,) = register.enter([Member(id=0, name="Dora")]).new
    assert new.id != last.id
    assert register.personal_codes()[new.id] != code
    handed = hand_out(school.store, school.engine, school.of, [new])
    assert [one.number for one in handed] != problems


def test_two_of_one_name_stay_two_when_their_numbers_come(register):
    register.enter([Member(id=0, name="Ana Silva")], "evening")
    register.enter([Member(id=0, name="Ana Silva", number="1"), Member(id=0, name="Ana Silva", number="2")], "evening")
    assert [(one.name, one.number) for one in register.members("evening")] == [("Ana Silva", "1"), ("Ana Silva", "2")]


def test_a_set_closed_before_it_opens_is_not_open_to_be_looked_at(make_class, register, noon):
    school = make_class(opens=noon)
    register.close(school.of.id, noon - timedelta(hours=2))
    with pytest.raises(ClassError, match="opens on"):
        school.work[0].solution(1, noon - timedelta(hours=1))
    assert register.get(school.of.id).state(noon) == "closed"


def test_practice_in_a_browser_that_others_share_is_not_erased_with_a_member(school, register):
    token = new_token()
    other_class = register.open_set(school.of.declaration, "evening")
    register.enter([Member(id=0, name="Dana")], "evening")
    school.claims().claim(token, "Ana")
    claims(school.store, other_class).claim(token, "Dana")
    Record(school.store, token).keep_setting("rulebook", "iec")
    register.erase(school.members[0].id)
    assert Record(school.store, token).setting("rulebook") == "iec"
    assert claims(school.store, other_class).member(token).name == "Dana"


def test_a_register_of_an_empty_store_is_empty(store):
    empty = Register(store)
    assert (empty.sets(), empty.classes(), empty.members(), empty.claimed()) == ([], [], [], {})
    with pytest.raises(ClassError, match="There is no practice set 'x'"):
        empty.find_set("x")


def test_a_learner_is_told_the_sets_of_the_classes_in_which_they_have_a_name(school, register, store, make_set):
    token = new_token()
    assert sets_of(store, token) == []
    assert not Record(store, token).in_a_class()
    second = make_set(id="second", title="The second set")
    register.open_set(second.declaration, "another class")
    school.claims().claim(token, "Ana")
    assert sets_of(store, token) == [second, school.of]
    assert Record(store, token).in_a_class()
    school.claims().leave(token)
    assert sets_of(store, token) == []
    assert not Record(store, token).in_a_class()
