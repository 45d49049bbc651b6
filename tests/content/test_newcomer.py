"""The newcomer's trial: the topic that DEVELOPERS.md writes down, taken from there, to its pages."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from streamlit.testing.v1 import AppTest

import tutor.app
from tutor.app import config, session
from tutor.app.components import lesson_figures
from tutor.cli import main
from tutor.content.library import load
from tutor.problems.draw import pools
from tutor.problems.proving import load_proved
from tutor.problems.question import Engine

FILE = re.compile(r", in `([\w/.-]+)`[^`]*:\n\n```\w+\n(.*?)```", re.DOTALL)
EXERCISE = "power-of-a-row"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """An empty folder into which every file of the how-to is copied."""
    root = tmp_path_factory.mktemp("own")
    page = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = page.partition("\n## A topic of your own\n")[2].partition("\n## ")[0]
    files = dict(FILE.findall(section))
    assert section.count("```") == 2 * len(files) == 12
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    return root


def printed(folder, *arguments):
    done = CliRunner().invoke(main, ["--content", str(folder), *arguments, "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.stderr
    return json.loads(done.output)


def test_the_topic_loads_beside_the_built_in_content(folder, library):
    own = load_proved(folder)
    for kind, count in {"quantities": 2, "modules": 1, "places": 1, "lessons": 1, "declared": 1, "figures": 1}.items():
        assert len(getattr(own, kind).keys() - getattr(library, kind).keys()) == count, kind


def test_the_exercise_holds_over_its_draws_and_draws_the_new_part_and_place(folder):
    path = folder / "exercises" / "row-in-the-heat" / f"{EXERCISE}.yaml"
    (report,) = printed(folder, "verify", str(path), "--draws", "30")
    assert report["faults"] == []
    drawn = [{option.name for option in options} for _, options in pools(Engine(load(folder)).question(EXERCISE))]
    assert {"Tarnwick 120", "Pellow Flat"} <= set().union(*drawn)


def test_its_problem_is_solved_and_marked(folder):
    problem = printed(folder, "problem", EXERCISE, "--solution")
    givens = {name: given["value"] for name, given in problem["givens"].items()}
    at_cell = givens["module_power"] * (1 + givens["power_coefficient"] / 100 * (givens["hottest_cell"] - 25))
    if problem["givens"]["hottest_cell"]["unit"] == "degC":
        assert problem["answer"]["value"] == pytest.approx(givens["row_modules"] * at_cell)
    assert [line["name"] for line in problem["solution"]] == ["power_at_temperature", "row_power"]
    assert printed(folder, "mark", EXERCISE, "--answer", problem["answer"]["text"])["verdict"] == "right"
    label = f"{givens['row_modules'] * givens['module_power']} W"
    wrong = printed(folder, "mark", EXERCISE, "--answer", label)
    assert (wrong["verdict"], wrong["named"]) == ("wrong", "heat-left-out")
    assert "local-code-decides" in {caution["id"] for caution in problem["safety"]}


def test_a_built_in_problem_stays_as_it_is_beside_the_topic(folder, tmp_path):
    for exercise in ("most-modules-in-series", "power-on-the-hottest-afternoon"):
        if exercise in load().exercises:
            assert printed(folder, "problem", exercise) == printed(tmp_path, "problem", exercise)


def test_the_lessons_page_shows_its_figure_and_its_diagram(folder, tmp_path, monkeypatch):
    monkeypatch.setattr(config, "_settings", config.Settings(store=str(tmp_path / "store.sqlite3"), content=folder))
    caches = (session.store, session.engine, lesson_figures.compiled)
    for cache in caches:
        cache.cache_clear()
    try:
        app = AppTest.from_file(str(Path(tutor.app.__file__).parent / "main.py"), default_timeout=60)
        app.session_state["learner"] = "l" * 32
        app.run()
        app.switch_page("screens/lessons.py")
        app.query_params["lesson"] = "row-in-the-heat"
        app.run()
        assert not app.exception
        assert app.title[0].value == "A row in the heat"
        assert len(app.get("plotly_chart")) == 1
        assert any("the row of 4 gives" in element.value.replace("\u00a0", " ") for element in app.markdown)
        assert len(app.get("image")) >= 2  # the diagram, wide and narrow
    finally:
        session.store().close()
        for cache in caches:
            cache.cache_clear()
