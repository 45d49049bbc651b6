from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import tutor.app

SCREENS = Path(tutor.app.__file__).parent / "screens"


def screen(name: str) -> AppTest:
    return AppTest.from_file(str(SCREENS / name), default_timeout=30)


def visible(app: AppTest) -> str:
    return "\n".join(element.value for element in [*app.markdown, *app.warning, *app.info])


def test_start_speaks_to_all_three_and_works_its_case_out():
    app = screen("start.py").run()
    assert not app.exception
    assert [heading.value for heading in app.subheader] == [
        "You want power at the cabin and have bought nothing yet",
        "You teach a class",
        "You study by yourself and calculate on paper",
    ]
    # 10 × 41.3 V × (1 + 0.0027 × 49) = 467.6 V
    assert [metric.value for metric in app.metric] == ["413\u00a0V", "467.6\u00a0V", "450\u00a0V"]
    assert "licensed electrician" in visible(app)


@pytest.mark.parametrize("entry", ["-18", "−18", "-18,0", " -18 "])
def test_a_temperature_finds_its_band(entry):
    app = screen("tables.py").run()
    app.text_input(key="find").input(entry).run()
    assert not app.exception
    # NFPA 70-2017 Table 690.7(A), third-party transcription: -16 to -20 °C, 1.18
    table = app.table[0].value
    assert list(table["Factor"]) == ["1.18"]
    assert list(table["Coldest (°C)"]) == ["−20"]


def test_a_temperature_beyond_the_table_is_said():
    app = screen("tables.py").run()
    app.text_input(key="find").input("-55").run()
    assert "−55\u00a0°C is not covered" in visible(app)
    assert "No row of this table fits" in visible(app)


def test_a_word_finds_rows_and_nonsense_finds_none():
    app = screen("tables.py").run()
    every_row = len(app.table[0].value)
    app.text_input(key="find").input("nfpa").run()
    assert len(app.table[0].value) == every_row
    app.text_input(key="find").input("<b>zebra</b>").run()
    assert not app.exception
    assert not app.table


def test_rows_say_where_they_come_from():
    app = screen("tables.py").run()
    assert "Edition of all rows: NFPA 70, 2008 and later." in visible(app)
    assert "NFPA 70-2017 Table 690.7(A)" in visible(app)
    assert "How far they were checked: read." in visible(app)


def test_the_other_rulebook_opens_by_its_address():
    app = screen("tables.py")
    app.query_params["rulebook"] = "iec"
    app.run()
    assert not app.exception
    assert app.radio(key="rulebook").value == "iec"
