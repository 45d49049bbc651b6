"""A declared figure's faults are told at load, with file, line and mend; a folder of one's own may bring its own."""

import pytest

from tutor.base.paths import content_root
from tutor.content.errors import ContentError
from tutor.content.figures import Sweep
from tutor.content.library import load
from tutor.problems.declaration import check_figure
from tutor.problems.proving import load_proved
from tutor.problems.sweep import figure_question, rulebooks_of, traced
from tutor.trade.rulebooks import rulebook

SOUND = (content_root() / "assets" / "figures" / "hot-afternoon.yaml").read_text(encoding="utf-8")
TWO_RULEBOOKS = (content_root() / "assets" / "figures" / "drop-length.yaml").read_text(encoding="utf-8")
SPECIAL = (content_root() / "assets" / "figures" / "iv-curve.yaml").read_text(encoding="utf-8")
CIRCUIT = (content_root() / "assets" / "figures" / "battery-fuse.yaml").read_text(encoding="utf-8")


def own_figure(folder, text, name="own-figure"):
    path = folder / "assets" / "figures" / f"{name}.yaml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def line_of(path, words):
    return next(at for at, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if words in line)


def changed(text, old, new):
    assert text.count(old) == 1, old
    return text.replace(old, new)


@pytest.mark.parametrize("text", [SOUND, TWO_RULEBOOKS, SPECIAL], ids=["one rulebook", "two rulebooks", "special"])
def test_a_sound_figure_of_ones_own_loads(tmp_path, text, library):
    own_figure(tmp_path, text)
    assert load_proved(tmp_path).figures.keys() - library.figures.keys() == {"own-figure"}


def test_every_built_in_figure_is_proved_under_both_rulebooks(library):
    proved = 0
    for declared in library.figures.values():
        if isinstance(declared.figure, Sweep):
            for book in rulebooks_of(library, declared.figure):
                figure = figure_question(library, declared, rulebook(book))
                check_figure(figure)
                assert traced(figure, figure.problem({})).sentence.endswith(".")
                proved += 1
    assert proved >= 12


@pytest.mark.parametrize(
    ("text", "faulty", "words"),
    [
        ("renderer: battery-days\n", "renderer", "no renderer 'battery-days'. Choose one of fuse-between"),
        (SPECIAL + "curves: []\n", "curves", "curves: there is no such field"),
        ("renderer: iv-curve\n", "renderer", "controls: this field is missing"),
        (
            changed(SPECIAL, "  irradiance:", "  sun:"),
            "renderer",
            "'iv-curve' is drawn from the controls cell_temperature",
        ),
        (changed(SPECIAL, "start: 800", "start: 1800"), "irradiance:", "'lowest', 'highest', 'step' around it"),
        (changed(SPECIAL, ", start: 800", ""), "irradiance:", "write 'start'"),
        (changed(SPECIAL, "words: Module (invented)", "words: Module <b>"), "module:", "a control's words are plain"),
        (changed(SPECIAL, "unit: degC", "unit: bananas"), "cell_temperature:", "bananas"),
        (SPECIAL + "day: {system: {}, loads: [], stored: 0 J, events: [], end: 1 h}\n", "day:", "day.loads"),
        (changed(CIRCUIT, "lowest: 10.5, full", "full"), "renderer", "'12' has to bring along"),
        (changed(CIRCUIT, 'start: "24"', 'start: "36"'), "battery:", "write 'start'"),
        (changed(CIRCUIT, "start: 70 mm²", "begin: 70 mm²"), "begin:", "begin: there is no such field"),
        (changed(CIRCUIT, "start: 70 mm²", "start: 71 mm²"), "71 mm²", "'71 mm²' is no standard value of size"),
        ("- one\n", "- one", "a mapping of sweep fields is expected"),
        (changed(SOUND, "axis: operating", "axes: operating"), "axes:", "axes: there is no such field"),
        (changed(SOUND, "axis: operating voltage\n", ""), "exercises:", "axis: this field is missing"),
        (SOUND + "along: year\n", "exercises:", "either what is 'swept' or what the figure goes 'along'"),
        (
            changed(SOUND, "[still-charging-on", "[still-charging-at"),
            "exercises:",
            "there is no exercise 'still-charging-at",
        ),
        (
            changed(SOUND, "swept: {quantity: hottest_cell", "swept: {quantity: hotest_cell"),
            "swept:",
            "no given 'hotest",
        ),
        (changed(SOUND, "step: 5 degC", "step: 0 degC"), "swept:", "'step' has to be above zero"),
        (
            changed(SOUND, "of: hot_string_voltage, words", "of: hot_voltages, words"),
            "hot_voltages",
            "no quantity 'hot_v",
        ),
        (changed(SOUND, "mistake: open-", "mistake: closed-"), "mistake: closed-", "no mistake 'closed-circuit"),
        (
            changed(SOUND, "least: input_voltage_min", "least: input_voltage_mix"),
            "least:",
            "'input_voltage_mix' is not in",
        ),
        (changed(SOUND, "least: input_voltage_min", "least: drop"), "least: drop", "the figure has no quantity 'drop'"),
        (changed(SOUND, "least: input_voltage_min", "least: min("), "least: min(", "least: "),
        (changed(SOUND, "    least: input_voltage_min\n", ""), "limits:", "write either 'most' or 'least'"),
        (
            changed(SOUND, "at: input_voltage_best", "at: input_voltage_max"),
            "at: input",
            "no quantity 'input_voltage_max'",
        ),
        (changed(SOUND, "[module, charger,", "[module, charge,"), "controls:", "the figure has no control 'charge'"),
        (changed(SOUND, "start: {modules", "start: {moduls"), "start:", "the figure has no control 'moduls_in_series'"),
        (changed(SOUND, "start: {", "start: {module: Best 400, "), "start:", "there is no 'Best 400'. Choose"),
        (
            changed(SOUND, "hottest_cell: 65 degC}", "hottest_cell: warm}"),
            "start:",
            "'warm' is no value of 'hottest_cell'",
        ),
        ("renderer: [sweep]\n", "renderer", "no renderer '['sweep']'"),
        (changed(SOUND, "step: 5 degC", "step: 0.1 degC"), "swept:", "more than 400 points"),
        (
            changed(SOUND, "swept: {quantity: hottest_cell", "swept: {quantity: module_vmp"),
            "swept:",
            "'V', but is swept",
        ),
        (
            changed(
                SOUND,
                "  hottest_cell: {lowest: 30 degC, highest: 85 degC, step: 1 degC}",
                "  hottest_cell: {one_of: [1 V]}",
            ),
            "one_of",
            "is in '°C', but is drawn as 1",
        ),
        (changed(SOUND, "[module, charger,", "[module, module,"), "controls:", "'module' is listed twice"),
        (
            changed(SOUND, "least: input_voltage_min", "least: hottest_cell"),
            "least:",
            "hot_string_voltage <= hottest_cell",
        ),
        (changed(SOUND, "when: hot_margin >= 0 V", "when: hot_margin"), "when: hot_margin", "compares nothing"),
        (
            changed(SOUND, "when: hot_margin >= 0 V", "when: hot_margin >= 0 A"),
            "when: hot_margin",
            "'hot_margin >= 0 A'",
        ),
        (SOUND + "band: [input_voltage_min, hottest_cell]\n", "band:", "hot_string_voltage <= hottest_cell"),
        (SOUND + "relations: {hot_voltage: module_vmp * 2 degC}\n", "relations:", "only makes sense as a difference"),
        (changed(SOUND, "  - With cells at {hottest_cell}", "  - With {cells}"), "With {cells}", "no 'cells' to tell"),
        (
            changed(SOUND, "when: hot_margin >= 0 V", "when: hot_margins >= 0 V"),
            "hot_margins",
            "'hot_margins' is not in",
        ),
        (changed(TWO_RULEBOOKS, "words: 70 mm²", "wording: 70 mm²"), "wording:", "wording: there is no such field"),
        (
            changed(TWO_RULEBOOKS, "{conductor_size: 2/0 AWG}", "{conductor_size: 9 AWG}"),
            "9 AWG",
            "'9 AWG' is no value",
        ),
        (
            changed(TWO_RULEBOOKS, "{conductor_size: 35 mm²}", "{conductor_siz: 35 mm²}"),
            "siz: 35",
            "no given 'conductor_siz'",
        ),
    ],
)
def test_a_faulty_figure_is_told_with_its_line(tmp_path, text, faulty, words):
    path = own_figure(tmp_path, text)
    with pytest.raises(ContentError) as caught:
        load_proved(tmp_path)
    assert words in str(caught.value)
    assert (caught.value.path, caught.value.line) == (path, line_of(path, faulty) + (faulty == "limits:"))
    assert "\n" not in str(caught.value)


def test_a_figure_may_not_take_the_place_of_a_built_in_one(tmp_path):
    path = own_figure(tmp_path, SPECIAL, "cold-year")
    with pytest.raises(ContentError, match="there is another figure 'cold-year'") as caught:
        load(tmp_path)
    assert caught.value.path == path
    assert str(content_root()) in caught.value.fault


def test_exercises_that_share_no_rulebook_make_no_figure(tmp_path):
    us_only, iec_only = (
        next(id_ for id_, one in load().declared.items() if one.exercise.rulebooks == [book]) for book in ("us", "iec")
    )
    path = own_figure(tmp_path, changed(SOUND, "[still-charging-on-the-hottest-afternoon]", f"[{us_only}, {iec_only}]"))
    with pytest.raises(ContentError, match="no rulebook") as caught:
        load_proved(tmp_path)
    assert (caught.value.path, caught.value.line) == (path, 1)
