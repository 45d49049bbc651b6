"""Who gets what: each page and download of the class for nobody, another learner, the learner, the instructor.

The commands of the class need the store itself, which its file's rights keep to who runs the server; that is the last
row of the table.
"""

import stat
import urllib.error
import urllib.request
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tutor.app import desk
from tutor.classroom.desk import DeskError, InstructorAuth
from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.roster.tries import NAMES
from tutor.classroom.sets.exams import Exams
from tutor.learner.record import new_token
from tutor.store.database import Store

pytestmark = pytest.mark.browser

TABS = {
    "Sets": "Learners type this code",
    "Roster": "From a spreadsheet",
    "Live": "learners have begun",
    "Answers": "Right answer:",
    "Paper": "One row a learner",
    "Mark again": "By the exercises as they are now",
    "Report": "Mistakes of the class",
    "Sheets": "Each learner gets their own numbers",
    "Exports": "Gradebook",
}


def make_the_package(visitor):
    visitor.button("Make the package").click()


def give_the_ids(visitor):
    for label in ("Id of the school", "Id of the class", "Id of the category", "Id of the grading period"):
        visitor.page.get_by_label(label).fill("a-1")
    visitor.button("Take these ids").click()


def give_the_address(visitor):
    box = visitor.page.get_by_label("The school's address, under which learners are named")
    box.fill("https://school.example")
    box.press("Enter")


def make_the_file(visitor):
    visitor.button("Print sheets").click()


DOWNLOADS = {  # where each is, and what has to be done first
    "Download the set as a file": ("Sets", None),
    "Download the codes as slips to print": ("Roster", None),
    "Download all that is kept about this learner": ("Roster", None),
    "Download the gradebook": ("Exports", None),
    "Download cold-strings-qti-2.1.zip": ("Exports", make_the_package),
    "Download the results": ("Exports", give_the_ids),
    "Download the statements": ("Exports", give_the_address),
    "Download cold-strings-sheets.pdf": ("Sheets", make_the_file),
}
FURTHER = 1  # the file of a set that is still being made: it holds nothing of a class
DESK = Path(desk.__file__).parent
OUTSIDE = ["nobody", "another learner", "the learner"]
GATE = "Passphrase"


@pytest.fixture(scope="module")
def school(make_school):
    """Ana has solved two problems, Bo left the cold out; Čeda has not come yet."""
    school = make_school("access")
    school.answers(right=1, wrong=1)
    return school


@pytest.fixture(scope="module")
def others(make_school):
    """Another class, of which Dan is a learner."""
    others = make_school("others", names=["Dan Other"])
    others.answers(right=1, wrong=0)
    return others


@pytest.fixture(scope="module")
def secrets_of(school):
    """What only the desk may say of the class: names, codes and answers of all learners."""
    handed = [outcome.handed for outcome in school.outcomes()]
    return {
        "names": [member.name for member in school.members],
        "problem codes": [one.code for one in handed],
        "typed": [answer.entry for outcome in school.outcomes() for answer in outcome.answers if len(answer.entry) > 4],
    }


@pytest.fixture
def visitor(who, school, others, server, learner):
    """A person with their browser at the start page; `received` gathers all that the server sends."""
    someone = learner(server.address)
    cookies = {"another learner": others.cookie(0, server.address), "the learner": school.cookie(0, server.address)}
    if who in cookies:
        someone.page.context.add_cookies([cookies[who]])
    someone.received = bytearray()

    def gather(payload: str | bytes) -> None:
        someone.received += payload if isinstance(payload, bytes) else payload.encode()

    someone.page.on("websocket", lambda socket: socket.on("framereceived", gather))
    if who == "the instructor":
        enter(someone, server)
    return someone


def enter(someone, server, passphrase="four words before dawn"):
    someone.go(f"{server.address}/class-desk")
    someone.page.get_by_label("Passphrase").fill(passphrase)
    someone.press("Enter the desk")


def choose_class(someone, school):
    box = someone.page.get_by_role("combobox", name="Class", exact=True)
    box.click()
    with someone.a_change():
        someone.page.get_by_role("option", name=school.class_name, exact=True).click()


def to_tab(someone, name):
    tab = someone.page.get_by_role("tab", name=name, exact=True)
    if tab.get_attribute("aria-selected") != "true":
        with someone.a_change():
            tab.click()
    someone.rest()


def status(address: str) -> int:
    try:
        with urllib.request.urlopen(address) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


@pytest.mark.one_in(3)
@pytest.mark.parametrize("who", OUTSIDE)
def test_outside_every_tab_of_the_desk_shows_the_way_in_and_nothing_else(who, visitor, school, server, secrets_of):
    for tab in TABS:
        visitor.received.clear()
        visitor.go(f"{server.address}/class-desk?tab={tab.replace(' ', '%20')}")
        assert visitor.hears(GATE), tab
        assert visitor.page.get_by_role("tab").count() == 0
        assert all(visitor.button(label).count() == 0 for label in DOWNLOADS)
        sent = bytes(visitor.received)
        assert len(sent) > 1000
        for kind, texts in secrets_of.items():
            found = [text for text in texts if text.encode() in sent]
            assert found == [], f"{kind} were sent at {tab}"
        assert school.of.code.encode() not in sent


@pytest.mark.long
@pytest.mark.parametrize("who", ["the instructor"])
def test_inside_every_tab_shows_what_it_is_for(who, visitor, school):
    choose_class(visitor, school)
    for tab, words in TABS.items():
        to_tab(visitor, tab)
        assert visitor.hears(words), tab
    assert visitor.page.refused == []


@pytest.mark.parametrize("who", ["nobody", "another learner", "the instructor"])
def test_a_set_is_nobody_elses_work(who, visitor, school, server, secrets_of):
    visitor.received.clear()
    visitor.go(f"{server.address}/class-work?set={school.of.code}&place=1")
    assert visitor.hears("Your name or number")
    sent = bytes(visitor.received)
    for kind, texts in secrets_of.items():
        assert [text for text in texts if text.encode() in sent] == [], f"{kind} were sent"


@pytest.mark.parametrize("who", ["the learner"])
def test_a_learner_sees_only_their_own_problems(who, visitor, school, server):
    visitor.received.clear()
    visitor.go(f"{server.address}/class-work?set={school.of.code}&place=1")
    ana, bo, ceda = school.members
    mine = [one.handed.code for one in school.outcomes() if one.handed.member == ana]
    theirs = [one.handed.code for one in school.outcomes() if one.handed.member != ana]
    assert visitor.hears(mine[0])
    assert theirs
    sent = bytes(visitor.received)
    assert [code for code in theirs if code.encode() in sent] == []
    assert bo.name.encode() not in sent
    assert ceda.name.encode() not in sent


HOUR = timedelta(hours=1)
TIMES = {"not open": (HOUR, None), "open": (-HOUR, HOUR), "closed": (-2 * HOUR, -HOUR)}  # from now: opens, closes
SWITCHES = ("off", "this set", "all exams")
# 41.3 V × (1 + 0.0027 × 49) = 46.76 V; 450 V / 46.76 V = 9.62, so 9 modules: worked by hand.
OWN = (
    "given=module_voc=41.3 V&given=voc_coefficient=-0.27 %25/K&given=record_low=-24 degC&given=input_voltage_max=450 V"
)
BY_ADDRESS = f"exercise=most-modules-in-series&{OWN}"


@pytest.mark.long  # tests/app/test_exam.py looks at the same without a browser
def test_an_exams_exercises_by_state_of_the_set_switch_and_browser(own_server, make_own_school, learner):
    """The learner types given numbers into an address: who gets the verdict and the worked solution."""
    exam = make_own_school(marked="when closed", solutions="never")
    named, nameless = learner(own_server.address), learner(own_server.address)
    named.page.context.add_cookies([exam.cookie(0, own_server.address)])
    found = {}
    with closing(Store.open(own_server.store)) as store:
        claims = Claims(store, exam.of)
        claims.claim(exam.tokens[0], exam.members[0].name, claims.personal_code(exam.members[0]))
        for switch in SWITCHES:
            Exams(store).turn_on(exam.of if switch == "this set" else None)
            if switch == "off":
                Exams(store).turn_off()
            for state, times in TIMES.items():
                opens, closes = (moment and datetime.now(UTC) + moment for moment in times)
                Register(store).change_times(exam.of.id, opens, closes)
                for who, visitor in (("named", named), ("nameless", nameless)):
                    visitor.go(f"{own_server.address}/practice?{BY_ADDRESS}")
                    found[switch, state, who] = told_of_the_exam(visitor)
        looks = {look.visitor: look.looks for look in Exams(store).recorded_looks(exam.of)}
    always_free = {
        (switch, state, who): "all" for switch in SWITCHES for state in TIMES for who in ("named", "nameless")
    }
    closed = {(switch, "open", who): "nothing" for switch in SWITCHES for who in ("named", "nameless")}
    assert found == {**always_free, **closed, ("off", "open", "nameless"): "all"}
    assert looks.keys() == {"Ana Ferreira (1)", "A browser without a name"}
    assert looks["Ana Ferreira (1)"] >= 3  # a page on a slow machine may run once more, later than one look lasts
    assert looks["A browser without a name"] >= 2


def told_of_the_exam(visitor) -> str:
    """What a problem's page gives: the verdict and the solution ('all'), or 'nothing' and why."""
    if "Closed for now" in visitor.text:
        assert visitor.page.get_by_role("textbox").count() == 0
        assert "You can use this exercise again after the set closes on" in visitor.text
        return "nothing"
    if not visitor.verdicts:  # else this browser has had both already, and they are shown again
        visitor.answer("9")
        visitor.press("Show the worked solution")
    return "all" if visitor.verdict.startswith("✔") and visitor.hears("Worked solution") else "a part"


def test_every_download_of_the_desk_is_in_the_table():
    """Each is made by `InstructorSession.download`, which looks at the session."""
    made = [line for file in DESK.glob("*.py") for line in file.read_text().splitlines() if ".download(" in line]
    direct = [file.name for file in DESK.glob("*.py") if "downloads" in file.read_text()]
    assert len(made) == len(DOWNLOADS) + FURTHER
    assert direct == ["instructor.py"]
    app = [file.read_text() for file in DESK.parent.rglob("*.py")]
    assert not any("st.download_button" in text for text in app), "the framework's own looks at no cookie"


@pytest.mark.long
@pytest.mark.parametrize("who", ["the instructor"])
def test_downloads_are_the_instructors_and_end_with_the_session(who, visitor, school, server, tmp_path):
    choose_class(visitor, school)
    addresses = {}
    for label, (tab, first) in DOWNLOADS.items():
        to_tab(visitor, tab)
        if first is not None:
            first(visitor)
            visitor.button(label).wait_for(timeout=90_000)
        with visitor.page.expect_download() as got:
            visitor.button(label).click()
        got.value.save_as(tmp_path / "file")
        assert (tmp_path / "file").stat().st_size > 50, label
        addresses[label] = got.value.url
    for address in addresses.values():
        assert address.startswith(f"{server.address}/coldmorning/download/")
        name = address.rsplit("/", 1)[1]
        assert len(name) >= 43  # base64: 2^256 names
        other = name[:-1] + ("0" if name[-1] != "0" else "1")
        assert status(address.replace(name, other)) == 404
        assert status(address) == 403, "without the browser's cookie"
    visitor.press("Leave the desk")
    assert visitor.hears("You have left the desk")
    visitor.page.context.close()
    left = {label: status(address) for label, address in addresses.items()}
    assert left == dict.fromkeys(addresses, 404)


def test_a_session_that_ends_meanwhile_makes_no_download_and_shows_the_way_in(own_server, own_school, learner):
    own_school.answers(right=1, wrong=0)
    visitor = learner(own_server.address)
    enter(visitor, own_server)
    to_tab(visitor, "Exports")
    own_school.set_passphrase(own_server.store)  # ends all sessions
    got = visitor.page.request.get(own_server.address + visitor.button("Download the gradebook").get_attribute("href"))
    assert (got.status, got.text()[:31]) == (403, "Your time at the desk has ended")
    with visitor.a_change():
        visitor.page.get_by_role("tab", name="Roster").click()
    assert visitor.hears("Your time at the desk has ended")
    assert all(member.name not in visitor.text for member in own_school.members)


@pytest.mark.parametrize("who", ["the instructor"])
def test_a_session_that_ends_meanwhile_changes_nothing(who, visitor, school, server):
    choose_class(visitor, school)
    to_tab(visitor, "Roster")
    visitor.page.get_by_label("Name", exact=True).fill("Eve Late")
    school.set_passphrase(server.store)
    with visitor.a_change():
        visitor.button("Add this learner").click()
    assert visitor.hears("Your time at the desk has ended")
    assert "Eve Late" not in [member.name for member in school.roster()]


@pytest.mark.long
@pytest.mark.parametrize("who", ["the instructor"])
def test_the_live_view_of_a_session_that_ends_goes_dark(who, visitor, school, server):
    choose_class(visitor, school)
    to_tab(visitor, "Live")
    assert visitor.hears(school.members[0].name)
    school.set_passphrase(server.store)
    visitor.page.get_by_text("Your time at the desk has ended").wait_for(timeout=15_000)
    assert school.members[0].name not in visitor.text


@pytest.mark.parametrize("who", ["the instructor"])
def test_another_tab_of_the_same_browser_is_outside(who, visitor, server):
    page = visitor.page.context.new_page()
    page.goto(f"{server.address}/class-desk")
    page.get_by_label("Passphrase").wait_for()
    assert page.get_by_role("tab").count() == 0
    assert [cookie["name"] for cookie in page.context.cookies() if "desk" in cookie["name"]] == []


@pytest.mark.parametrize("path", ["/media/", "/media/" + "0" * 56 + ".csv", "/media/../tutor.sqlite", "/tutor.sqlite"])
def test_no_file_is_to_be_had_by_guessing(path, server):
    found = status(server.address + path)
    assert found in (200, 400, 404)
    if found == 200:  # an unknown page is the app's own shell, which holds nothing of a class
        with urllib.request.urlopen(server.address + path) as answer:
            assert answer.headers["content-type"].startswith("text/html")
            assert b"SQLite" not in answer.read()


@pytest.mark.parametrize("who", ["nobody"])
def test_wrong_passphrases_wait_and_say_how_long(who, visitor, school, server):
    enter(visitor, server, "not the passphrase")
    assert visitor.hears("This is not the passphrase. Wait 1 s before the next try.")
    school.wrong_passphrases(server.store, 4)
    visitor.page.get_by_label("Passphrase").fill(school.passphrase)
    visitor.press("Enter the desk")
    assert visitor.hears("There was a wrong try just now. Wait")
    school.set_passphrase(server.store)  # for the tests after this one


THIEF, SCHOOL, HOME = "203.0.113.9", "198.51.100.7", "192.0.2.4"  # addresses for documentation (RFC 5737)


@pytest.mark.long
@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    ("browser", "address", "typed", "enters"),
    [
        ("a thief's", THIEF, "passphrase", False),
        ("a thief's", HOME, "passphrase", False),
        ("a new one", THIEF, "passphrase", False),
        ("a new one", HOME, "passphrase", True),
        ("a new one", SCHOOL, "passphrase", True),
        ("the instructor's", THIEF, "passphrase", True),
        ("a thief's", THIEF, "one-time code", True),
        ("a thief's", THIEF, "earlier one-time code", False),
    ],
)
def test_who_enters_the_desk_by_browser_and_address_while_a_thief_tries(tmp_path, browser, address, typed, enters):
    noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    with closing(Store.open(str(tmp_path / "store.sqlite3"))) as store:
        InstructorAuth(store).set_passphrase("four words before dawn", noon)
        InstructorAuth(store, "the instructor's", SCHOOL).enter("four words before dawn", noon)
        for second in (0, 1, 3, 7):
            with pytest.raises(DeskError, match="This is not the passphrase"):
                InstructorAuth(store, "a thief's", THIEF).enter("wrong every time", noon + timedelta(seconds=second))
        codes = [InstructorAuth(store).new_entry_code(noon) for _ in range(2)]
        what = {
            "passphrase": "four words before dawn",
            "one-time code": codes[1],
            "earlier one-time code": codes[0],
        }[typed]
        try:
            entered = bool(InstructorAuth(store, browser, address).enter(what, noon + timedelta(seconds=8)))
        except DeskError:
            entered = False
    assert entered == enters


@pytest.mark.parametrize(
    ("address", "shows", "enters"),
    [
        (THIEF, "the name", False),
        (THIEF, "the slip's code", False),
        (HOME, "the slip's code", True),
        (HOME, "another's slip's code", False),
        (HOME, "the name", False),
    ],
)
def test_who_takes_a_name_by_address_while_a_thief_tries(tmp_path, address, shows, enters):
    noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    with closing(Store.open(str(tmp_path / "store.sqlite3"))) as store:
        ana, bo = Register(store).enter([Member(id=0, name="Ana Ferreira"), Member(id=0, name="Bo")]).new
        items = [{"exercise": "most-modules-in-series"}]
        claims = Claims(store, Register(store).open_set(PracticeSet(id="a-set", title="A set", items=items)))
        for _ in range(NAMES.free_of_address + 1):
            with pytest.raises(ClassError, match="do not match"):
                claims.claim(new_token(), "Ana Ferreira", address=THIEF, moment=noon)
        code = {
            "the name": "",
            "the slip's code": claims.personal_code(ana),
            "another's slip's code": claims.personal_code(bo),
        }[shows]
        try:
            entered = bool(claims.claim(new_token(), "Ana Ferreira", code, address=address, moment=noon))
        except ClassError:
            entered = False
    assert entered == enters


def test_the_store_is_its_owners_alone(server, school):
    file = Path(server.store.removeprefix("sqlite:///"))
    assert school.members
    assert stat.S_IMODE(file.stat().st_mode) & (stat.S_IRWXG | stat.S_IRWXO) == 0
