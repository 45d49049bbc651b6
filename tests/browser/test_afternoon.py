"""A whole afternoon: a set is made, three learners work on it, the desk looks on, the report is read, marks go out.

One learner works on a phone, one loses the connection on the way, one works on paper.
"""

import csv
import importlib.util
import io
from contextlib import closing
from pathlib import Path

import pytest

from tutor.base.units import conversion
from tutor.classroom.reports.results import Results
from tutor.classroom.roster.register import Register
from tutor.store.database import Store

pytestmark = [pytest.mark.browser, pytest.mark.long]

ROSTER = "Number;Name\n1;Ana Ferreira\n2;Bo Lindqvist\n3;Čeda Petrović\n"
PHONE = {"width": 360, "height": 740}


def _beside(name):
    spec = importlib.util.spec_from_file_location(f"browser_{name}", Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


desk, work, proxies = _beside("test_class_desk"), _beside("test_class_work"), _beside("proxy")


class Afternoon:
    """What the store holds of the one set, read from the disk."""

    def __init__(self, server):
        self.server = server

    def look(self, at):
        with closing(Store.open(self.server.store)) as store:
            (of,) = Register(store).sets()
            return at(of, Results(store, of))

    @property
    def code(self):
        return self.look(lambda of, _: of.code)

    def personal_code(self, name):
        with closing(Store.open(self.server.store)) as store:
            register = Register(store)
            (of,) = register.sets()
            (member,) = [one for one in register.members(of.class_name) if one.name == name]
            return register.personal_codes(of.class_name)[member.id]

    def outcomes(self, name=""):
        return [one for one in self.look(lambda _, results: results.outcomes()) if name in one.handed.member.name]

    def right(self, name, place):
        """The right answer as somebody types it who has worked it out to six figures."""
        handed = next(one.handed for one in self.outcomes(name) if one.handed.place == place)
        shown = conversion(handed.snapshot.unit).to_shown(handed.expected[handed.ask])
        return f"{shown:.6g}" if handed.snapshot.kind(handed.ask) == "number" else handed.answer

    def without_the_cold(self, name, place):
        """The label's voltage times the modules: what somebody gets who leaves the cold out."""
        givens = next(one.handed.givens for one in self.outcomes(name) if one.handed.place == place)
        return f"{givens['module_voc'].value * givens['modules_in_series'].value:.6g} V"


def test_a_whole_afternoon(own_server, own_school_passphrase, learner, tmp_path):
    afternoon = Afternoon(own_server)
    instructor = learner(own_server.address)
    desk.enter(instructor, own_server, own_school_passphrase)

    make_the_set(instructor)
    address = f"/class-work?set={afternoon.code}"

    ana_works_through_a_lost_connection(own_server, afternoon, learner, address)
    bo_works_on_a_phone(own_server, afternoon, learner, address)

    desk.to_tab(instructor, "Live")
    assert instructor.hears("2 of 3 learners have begun")
    marks = [row.count("✔") for row in instructor.page.locator(".class-matrix tbody tr").all_inner_texts()]
    assert marks == [2, 0, 0]

    ceda_works_on_paper(instructor, afternoon)
    assert [one.state for one in afternoon.outcomes("Čeda")] == ["right", "right"]

    desk.to_tab(instructor, "Report")
    assert instructor.hears("1. The cold left out")
    assert instructor.hears("1 learner")

    desk.to_tab(instructor, "Exports")
    with instructor.page.expect_download() as got:
        instructor.button("Download the gradebook").click()
    got.value.save_as(tmp_path / "gradebook.csv")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "gradebook.csv").read_text(encoding="utf-8-sig"))))
    assert [row["name"] for row in rows] == ["Ana Ferreira", "Bo Lindqvist", "Čeda Petrović"]
    assert [row["right"] for row in rows] == ["2", "0", "2"]


def make_the_set(instructor):
    """Two problems of the voltage on the coldest morning, three learners, all handed out."""
    page = instructor.page
    instructor.enter(page.get_by_label("Title"), "The coldest morning")
    page.get_by_role("combobox", name="Lessons").click()
    with instructor.a_change():
        page.get_by_role("option", name="The coldest morning").click()
    page.keyboard.press("Escape")
    page.get_by_label("Problems in all").fill("2")
    with instructor.a_change():
        page.keyboard.press("Enter")
    instructor.press("Open this set for the class")
    assert instructor.hears("This set is open. 2 problems")
    desk.to_tab(instructor, "Roster")
    desk.upload(instructor, "The roster as CSV", ROSTER)
    instructor.press("Put 3 learners on the roster")
    assert instructor.hears("3 learners were added.")
    desk.to_tab(instructor, "Sets")
    instructor.press("Hand out the problems now")
    page.get_by_text("have not got their problems yet").wait_for(state="detached", timeout=60_000)


def ana_works_through_a_lost_connection(server, afternoon, learner, address):
    proxy = proxies.Proxy(server.port)
    ana = learner(proxy.address + address)
    work.say_who(ana, "Ana Ferreira", afternoon.personal_code("Ana Ferreira"))
    ana.page.get_by_text("Problem 1 of 2").wait_for()
    for place in (1, 2):
        if place == 2:
            ana.press("On to problem 2")
            ana.page.get_by_text("Problem 2 of 2").wait_for()
            proxy.cut()
            ana.page.wait_for_selector(work.LOST, state="attached")
            proxy.mend()
            ana.page.wait_for_selector(work.CONNECTED, state="attached")
        assert "right" in work.send(ana, place, afternoon.right("Ana", place)).lower()
    proxy.close()
    assert [len(one.answers) for one in afternoon.outcomes("Ana")] == [1, 1]


def bo_works_on_a_phone(server, afternoon, learner, address):
    bo = learner(server.address + address, **PHONE)
    work.say_who(bo, "2", afternoon.personal_code("Bo Lindqvist"))
    bo.page.get_by_text("Problem 1 of 2").wait_for()
    said = work.send(bo, 1, afternoon.without_the_cold("Bo", 1))
    assert "How cold are the cells" in said
    assert bo.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def ceda_works_on_paper(instructor, afternoon):
    codes = [one.handed.code for one in afternoon.outcomes("Čeda")]
    answers = [afternoon.right("Čeda", place) for place in (1, 2)]
    table = "Problem code;Answer\n" + "".join(f"{code};{text}\n" for code, text in zip(codes, answers, strict=True))
    desk.to_tab(instructor, "Paper")
    desk.upload(instructor, "Answers as CSV", table)
    instructor.button("Mark this table").click()
    instructor.page.get_by_text("2 new answers were marked: 2 right").wait_for()
