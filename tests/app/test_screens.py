"""Each page through Streamlit's own test driver: it shows, takes a right answer, a wrong one, and nonsense."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import tutor.app
from tutor.content.library import load
from tutor.learner.record import Record
from tutor.store.database import Store

MAIN = Path(tutor.app.__file__).parent / "main.py"
LEARNER = "l" * 32
# 41.3 V × (1 + 0.0027 × 49) = 46.76 V; 450 V / 46.76 V = 9.62, so 9 modules: worked by hand.
OWN = ["module_voc=41.3 V", "voc_coefficient=-0.27 %/K", "record_low=-24 degC", "input_voltage_max=450 V"]


@pytest.fixture
def screen(pages_store):
    """Opens a page of the app by its file's name and its query parameters."""

    def opened(name: str, **query) -> AppTest:
        app = AppTest.from_file(str(MAIN), default_timeout=60)
        app.session_state["learner"] = LEARNER
        app.run()
        app.switch_page(f"screens/{name}.py")
        for key, value in query.items():
            app.query_params[key] = value
        app.run()
        assert not app.exception
        return app

    return opened


def visible(app: AppTest) -> str:
    boxes = [*app.markdown, *app.warning, *app.info, *app.error, *app.success, *app.caption]
    return "\n".join(element.value for element in boxes).replace("\\", "")


def test_a_session_that_another_browser_holds_is_emptied_before_anything_is_shown(screen):
    app = screen("start")
    assert app.session_state["browser"] == ""
    app.session_state["browser"] = "the one that began it"
    app.session_state["desk session"] = app.session_state["class sheet"] = "not for others"
    app.run()
    assert not app.exception
    assert app.session_state["browser"] == ""
    assert app.session_state["learner"] != LEARNER
    assert "desk session" not in app.session_state
    assert "class sheet" not in app.session_state


def rows(app: AppTest) -> list[list[str]]:
    """The rows of the page's first table, its heading left out."""
    table = next(element.value for element in app.markdown if element.value.startswith("| "))
    return [line.strip("| ").split(" | ") for line in table.splitlines()[2:]]


def press(app: AppTest, label: str) -> AppTest:
    next(button for button in app.button if button.label.startswith(label)).click()
    app.run()
    assert not app.exception
    return app


def answer(app: AppTest, text: str) -> str:
    """Answer the problem on the page; gives the verdict."""
    next(box for box in app.text_input if box.key.startswith("answer ")).input(text)
    press(app, "Check the answer")
    return (app.success or app.error or app.warning)[0].value.replace("\\", "")


def test_start_speaks_to_all_three_and_works_its_case_out(screen):
    app = screen("start")
    assert [heading.value for heading in app.subheader] == [
        "You want power at the cabin and have bought nothing yet",
        "You teach a class",
        "You study by yourself and calculate on paper",
    ]
    # 10 × 41.3 V × (1 + 0.0027 × 49) = 467.6 V
    assert [metric.value for metric in app.metric] == ["413\u00a0V", "467.6\u00a0V", "450\u00a0V"]
    assert "licensed electrician" in visible(app)
    assert app.button[0].label.startswith("Next: the first lesson")


def test_start_leads_back_to_where_the_learner_was(screen):
    screen("practice", exercise="most-modules-in-series", number="3", given=OWN)
    app = press(screen("start"), "Next: go on where you were")
    assert app.title[0].value == "The most modules in one string"
    assert "Problem 3" in visible(app)
    assert app.query_params["given"] == OWN


def test_practice_offers_every_exercise(screen):
    app = screen("practice")
    offered = {link.proto.query_string for link in app.get("page_link")}
    for exercise in load().declared:
        assert any(f"exercise={exercise}&" in query for query in offered), exercise


def test_a_wrong_answer_a_right_one_and_nonsense(screen, pages_store):
    app = screen("practice", exercise="most-modules-in-series", given=OWN)
    assert "more than one way can lead to 10" in answer(app, "10")
    assert answer(app, "9 modules").startswith("Right: the number of modules in series is 9.")
    assert answer(app, "13-ish").startswith("**Not counted.**")
    assert answer(app, "").startswith("**Not counted.** The entry is empty")
    with_store = Store.open(pages_store)
    kept = [(attempt.entry, attempt.verdict) for attempt in Record(with_store, LEARNER).attempts()]
    with_store.close()
    assert kept[:2] == [("10", "wrong"), ("9 modules", "right")]
    assert {verdict for _, verdict in kept[2:]} == {"refused"}


def test_an_answer_whose_store_is_gone_is_not_taken_for_saved(screen, pages_store):
    app = screen("practice", exercise="most-modules-in-series", given=OWN)
    answer(app, "10")
    Path(pages_store).unlink()
    told = answer(app, "9 modules")
    assert told.startswith("The file that keeps your work is missing or damaged, so what you did last was not saved")
    assert not app.success
    assert not Path(pages_store).exists()
    assert pages_store not in visible(app)


def test_the_steps_lead_to_the_answer(screen):
    app = screen("practice", exercise="most-modules-in-series", given=OWN)
    app.toggle[0].set_value(True).run()
    for at, text in ((1, "46.76 V"), (2, "9.62")):
        next(box for box in app.text_input if box.label.startswith(f"Step {at}:")).input(text)
        press(app, f"Check step {at}")
        assert len(app.success) == at
    assert "All steps are there. Now the answer:" in visible(app)


def own_field(app: AppTest, label: str):
    return next(box for box in app.text_input if box.label == label)


def test_own_numbers_that_contradict_each_other_are_asked_about_and_stay(screen, pages_store):
    """From an address, then corrected in the form: nothing is counted, nothing typed is lost."""
    app = screen("practice", exercise="fill-factor", given=["module_imp=12 A", "module_isc=9 A"])
    assert "(Imp) is always less than its short-circuit current" in app.error[0].value.replace("\\", "")
    assert own_field(app, "Module's operating current").value == "12 A"
    assert own_field(app, "Module's short-circuit current").value == "9 A"
    own_field(app, "Module's operating current").input("9.5 A")
    press(app, "Use these numbers")
    assert "You entered 9.5" in app.error[-1].value.replace("\\", "")
    assert own_field(app, "Module's operating current").value == "9.5 A"
    own_field(app, "Module's operating current").input("8.5 A")
    for label, text in (("operating voltage", "33 V"), ("open-circuit voltage", "40 V")):
        own_field(app, f"Module's {label}").input(text)
    press(app, "Use these numbers")
    assert not app.error
    assert "module_imp=8.5 A" in app.query_params["given"]
    assert "8.5\u00a0A" in visible(app)
    with_store = Store.open(pages_store)
    assert not list(Record(with_store, LEARNER).attempts())
    with_store.close()


def test_a_coefficient_in_volts_is_converted_with_the_voltage_on_the_form(screen):
    app = screen("practice", exercise="most-modules-in-series", given=["voc_coefficient=-120 mV/K"])
    assert "enter the module's open\\-circuit voltage" in app.error[0].value.replace("\\'", "'")
    own_field(app, "Module's open-circuit voltage").input("40 V")
    press(app, "Use these numbers")
    assert not app.error
    assert "−0.3\u00a0%/K" in visible(app)


def test_hints_then_the_worked_solution(screen):
    app = screen("practice", exercise="most-modules-in-series", given=OWN)
    for at in (1, 2, 3):
        press(app, f"Show hint {at} of 3")
    assert [box.value[:11] for box in app.info] == ["**Hint 1.**", "**Hint 2.**", "**Hint 3.**"]
    press(app, "Show the worked solution")
    assert "46.76\u00a0V" in visible(app)
    assert "420.9\u00a0V ≤ 450\u00a0V" in visible(app)


def offers_what_if(app: AppTest) -> bool:
    return any(expander.label == "What if a number were different?" for expander in app.expander)


def test_what_if_is_offered_once_the_answer_is_known_and_never_before(screen):
    app = screen("practice", exercise="most-modules-in-series", given=OWN)
    assert not offers_what_if(app)
    answer(app, "10")
    assert not offers_what_if(app)
    press(app, "Show hint 1 of 3")
    assert not offers_what_if(app)
    answer(app, "9 modules")
    assert offers_what_if(app)
    assert not app.get("plotly_chart")  # shut, it draws nothing
    press(app, "Fresh numbers")
    assert not offers_what_if(app)
    press(app, "Show the worked solution")
    assert offers_what_if(app)


def test_fresh_numbers_are_the_next_problem(screen):
    app = press(screen("practice", exercise="most-modules-in-series", number="3"), "Fresh numbers")
    assert "Problem 4" in visible(app)


def test_an_exercise_that_is_not_there_is_said(screen):
    app = screen("practice", exercise="<b>no</b>")
    assert "<b>no</b>" in app.error[0].value.replace("\\", "")
    assert app.title[0].value == "Practice"


def test_lessons_are_listed_and_an_unknown_one_is_said(screen):
    listed = {link.proto.query_string for link in screen("lessons").get("page_link")}
    assert {f"lesson={id_}" for id_ in load().lessons} <= listed
    assert "There is no lesson" in screen("lessons", lesson="![](x)").error[0].value


@pytest.mark.parametrize("lesson", list(load().lessons))
def test_a_lesson_shows_all_its_parts(screen, lesson):
    app = screen("lessons", lesson=lesson)
    headings = [heading.value for heading in app.header]
    assert [one for one in headings if one in ("Try it", "Problems to try", "Cautions", "Sources")] == [
        "Try it",
        "Problems to try",
        "Cautions",
        "Sources",
    ]
    assert app.get("plotly_chart")


def test_the_faded_example_takes_more_away_after_each_right_one(screen):
    from tutor.problems.draw import draw
    from tutor.problems.question import Engine

    problem = draw(Engine(load()).question("most-modules-in-series"), 2)
    app = screen("lessons", lesson="cold-voltage")
    box = next(box for box in app.text_input if box.key.startswith("faded"))
    box.input(f"{problem.answer.value:g}")
    press(app, "Check step 3")
    press(app, "Next example: one step more for you")
    assert "2 of 3 steps are left to you here." in visible(app)


@pytest.mark.parametrize("entry", ["-18", "−18", "-18,0", " -18 "])
def test_a_temperature_finds_its_band(screen, entry):
    app = screen("tables", table="cold_voltage_factor")
    app.text_input(key="find").input(entry).run()
    assert not app.exception
    # NFPA 70-2017 Table 690.7(A), third-party transcription: -16 to -20 °C, 1.18
    ((_, coldest, factor, *_),) = rows(app)
    assert (coldest, factor) == ("−20", "1.18")


def test_a_temperature_beyond_the_table_is_said(screen):
    app = screen("tables", table="cold_voltage_factor")
    app.text_input(key="find").input("-55").run()
    assert "−55\u00a0°C is not covered" in visible(app)
    assert "No row of this table fits" in visible(app)


def test_a_word_finds_rows_and_nonsense_finds_none(screen):
    app = screen("tables", table="cold_voltage_factor")
    every_row = rows(app)
    app.text_input(key="find").input("nfpa").run()
    assert rows(app) == every_row
    app.text_input(key="find").input("<b>zebra</b>").run()
    assert not app.exception
    assert "No row of this table fits" in visible(app)


def test_rows_say_where_they_come_from(screen):
    said = visible(screen("tables", table="cold_voltage_factor"))
    assert "Edition of all rows: NFPA 70-2017." in said
    assert "Base edition: NFPA 70-2017." in said
    assert "NFPA 70-2017 Table 690.7(A)" in said
    assert "How far they were checked: read." in said


def test_every_table_of_every_rulebook_shows(screen):
    from tutor.trade.rulebooks import RULEBOOKS, rulebook

    for book in RULEBOOKS:
        app = screen("tables", rulebook=book)
        for name in rulebook(book).tables:
            app.selectbox(key=f"table {book}").set_value(name).run()
            assert not app.exception, name
            assert rows(app), name


def test_the_other_rulebook_opens_by_its_address(screen):
    app = screen("tables", rulebook="iec")
    assert app.radio(key="rulebook").value == "iec"


def test_progress_counts_and_erases(screen, pages_store):
    app = screen("progress")
    assert "Nothing answered yet." in visible(app)
    problem = screen("practice", exercise="most-modules-in-series", given=OWN)
    answer(problem, "10")
    answer(problem, "9")
    app = screen("progress")
    ((exercise, tries, right, *_),) = rows(app)
    assert (exercise, tries, right) == ("The most modules in one string", "2", "1 unaided, 0 with help")
    press(app, "Erase")
    assert "Nothing was erased." in visible(app)
    app.checkbox[0].check()
    press(app, "Erase")
    assert "Nothing answered yet." in visible(app)


def test_a_working_is_pointed_at_where_it_departs_and_kept(screen):
    app = screen("working", exercise="most-modules-in-series", given=OWN)
    app.text_area[0].set_value("41.3 * 1.1323 = 46.76 V\n450/46.76 = 9.6\nso 10")
    app = press(app, "Check the lines")
    assert "Line 3 is the first that does not hold" in app.error[0].value
    again = screen("working", exercise="most-modules-in-series", given=OWN)
    assert again.text_area[0].value.endswith("so 10")
    assert "not checked yet" in visible(again)
    assert "Line 3 is the first that does not hold" in press(again, "Check the lines").error[0].value


def test_a_right_working_reaches_the_answer(screen):
    app = screen("working", exercise="most-modules-in-series", given=OWN)
    app.text_area[0].set_value("450 / (41.3 * (1 + 0.0027 * 49)) = 9.62\nso 9")
    assert "they reach the answer" in press(app, "Check the lines").success[0].value


def test_a_working_can_be_chosen_for_every_exercise_with_numbers(screen):
    app = screen("working")
    assert len(app.get("page_link")) >= 80
    assert "asks for an order" in screen("working", exercise="switching-on").info[0].value


def test_how_well_mistakes_are_recognised_is_shown(screen):
    said = visible(screen("recognition"))
    assert "named rightly" in said
    assert "a number from nowhere" in said
