"""Content of every kind in a folder of your own: it merges, a clash names both places, attacks end in words."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from tutor.base.paths import content_root
from tutor.cli import main
from tutor.content.errors import ContentError
from tutor.content.library import load
from tutor.problems import proving
from tutor.problems.question import Engine
from tutor.trade.rulebooks import rulebook

QUANTITIES, PLACES, MODULES = "assets/quantities.yaml", "assets/parts/places.yaml", "assets/parts/modules.yaml"
TABLES, FIGURES = "assets/tables/tables.yaml", "assets/tables/soil.csv"
QUANTITY = "soil_depth:\n  symbol: d\n  unit: m\n  words: depth in the soil\n  plausible: [0.1, 3]\n"
PLACE = (
    "pellow-flat:\n  name: Pellow Flat\n  record_low: -12 degC\n  hottest_ambient: 38 degC\n"
    "  hottest_cell: 68 degC\n  january_mean: 2 degC\n  july_mean: 27 degC\n"
)
MODULE = (
    "tarnwick-120:\n  name: Tarnwick 120\n  cells: 36\n  module_power: 120 W\n  module_voc: 22.3 V\n"
    "  module_vmp: 18.6 V\n  module_isc: 6.9 A\n  module_imp: 6.45 A\n  voc_coefficient: -0.28 %/K\n"
    "  vmp_coefficient: -0.38 %/K\n  power_coefficient: -0.34 %/K\n  isc_coefficient: 0.05 %/K\n"
    "  module_fuse_max: 15 A\n  module_system_voltage: 600 V\n  nominal_cell_temperature: 45 degC\n"
)
HAZARD = (
    "deep-trench:\n  signal: WARNING\n  hazard: Deep trench\n  consequence: A trench can cave in and bury you.\n"
    "  avoid: Shore it, and never dig alone.\n  goes_with: [soil_depth]\n"
)
SOURCE = "soil-notes:\n  citation: Invented notes on soil.\n  standing: common practice, no source\n"
AGREEMENT = "not-too-deep:\n  holds: soil_depth <= 3 m\n  says: Nobody lays cable deeper. Check the depth.\n"
TABLE = (
    "soil_factor:\n  title: Factor for the soil\n  kind: grid\n  file: soil.csv\n"
    "  keys:\n    depth: {column: to_m, unit: m, match: at_or_above}\n  value: factor\n"
)
HEADER = "rulebook,edition,to_m,factor,source,standing\n"
ROW = 'us,none,1,0.9,invented,"common practice, no source"\n'
EDITION = 'us,NFPA 70-2099,,Soil,nothing,Asks for more soil,invented,"common practice, no source"\n'
EVERYTHING = {
    QUANTITIES: QUANTITY,
    PLACES: PLACE,
    MODULES: MODULE,
    "assets/hazards.yaml": HAZARD,
    "assets/sources.yaml": SOURCE,
    "assets/agreements.yaml": AGREEMENT,
    TABLES: TABLE,
    FIGURES: HEADER + ROW,
    "assets/tables/editions.csv": "rulebook,edition,clause,topic,base,change,source,standing\n" + EDITION,
}


def laid(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def test_every_kind_of_entry_merges_with_the_built_in_ones(tmp_path, library):
    own = proving.load_proved(laid(tmp_path, EVERYTHING))
    added = {"quantities": "soil_depth", "places": "pellow-flat", "modules": "tarnwick-120", "hazards": "deep-trench"}
    added |= {"sources": "soil-notes", "agreements": "not-too-deep", "tables": "soil_factor"}
    for kind, id_ in added.items():
        assert getattr(own, kind).keys() - getattr(library, kind).keys() == {id_}, kind
    assert rulebook("us", own).tables["soil_factor"].look_up(0.8) == 0.9
    changes = [row["change"] for row in rulebook("us", own).tables["editions"].rows]
    assert changes[-1] == "Asks for more soil"
    assert len(changes) == 1 + len(rulebook("us").tables["editions"].rows)


def test_built_in_exercises_rest_on_built_in_content_alone(tmp_path):
    own = Engine(load(laid(tmp_path, EVERYTHING)))
    question = own.question("most-modules-in-series")
    assert question.library is own.library.base
    assert question.rulebook is rulebook("us", own.library.base)


CLASHES = {
    QUANTITIES: QUANTITY.replace("soil_depth", "module_voc"),
    PLACES: PLACE.replace("pellow-flat", "marrowfen"),
    MODULES: MODULE.replace("tarnwick-120", "orrelune-100"),
    "assets/hazards.yaml": HAZARD.replace("deep-trench", "hot-roof").replace("soil_depth", "module_voc"),
    "assets/sources.yaml": SOURCE.replace("soil-notes", "nfpa-70-690-7"),
    "assets/agreements.yaml": AGREEMENT.replace("not-too-deep", "imp-below-isc"),
    "assets/tables/rulebooks.yaml": "us: NFPA 70-2099\n",
    TABLES: TABLE.replace("soil_factor", "grouping_factor"),
    "assets/figures/cold-year.yaml": (content_root() / "assets" / "figures" / "cold-year.yaml").read_text(
        encoding="utf-8"
    ),
}


@pytest.mark.parametrize(("name", "text"), CLASHES.items(), ids=CLASHES)
def test_a_clash_names_both_places_with_their_lines(tmp_path, name, text):
    tables = {FIGURES: HEADER + ROW} if name == TABLES else {}
    with pytest.raises(ContentError, match="there is another") as caught:
        load(laid(tmp_path, {name: "# mine\n" + text, **tables}))
    assert (caught.value.path, caught.value.line) == (tmp_path / name, 2)
    other = re.search(r"in (/\S+), line (\d+)", str(caught.value))
    assert other is not None
    assert Path(other[1]).is_relative_to(content_root())
    line = Path(other[1]).read_text(encoding="utf-8").splitlines()[int(other[2]) - 1]
    if "figures" not in name:
        assert line.startswith(text.split(":")[0])


def test_a_figure_that_the_rulebook_has_is_a_clash(tmp_path):
    table = "soil_rules: {title: Rules of soil, kind: numbers, file: soil.csv, value: value}\n"
    rows = "rulebook,edition,name,value,unit,source,standing\nus,none,continuous_factor,1,,invented,read\n"
    with pytest.raises(ContentError, match=r"another figure .continuous_factor., in .*numbers.csv, line 2") as caught:
        load(laid(tmp_path, {TABLES: table, FIGURES: rows}))
    assert (caught.value.path, caught.value.line) == (tmp_path / FIGURES, 2)


# file, what is replaced, by what, the words that name the fault, its line
ATTACKS = {
    "a unit of nothing": (QUANTITIES, "unit: m\n", "unit: soilmeter\n", "'soilmeter' is not a unit", 3),
    "a unit beyond numbers": (QUANTITIES, "unit: m\n", "unit: Ym^9*Ym^9\n", "too large or too small", 3),
    "a range turned round": (QUANTITIES, "[0.1, 3]", "[3, 0.1]", "the lower value first", 1),
    "a range without end": (QUANTITIES, "[0.1, 3]", "[0.1, .inf]", "plausible.1: a number is expected", 5),
    "a name of capitals": (QUANTITIES, "soil_depth", "Soil_Depth", "is no id", 1),
    "a name in disguise": (QUANTITIES, "soil_depth", "sоil_depth", "is no id", 1),
    "a symbol that is code": (QUANTITIES, "symbol: d", 'symbol: "$<script>"', "symbol", 2),
    "a symbol left open": (QUANTITIES, "symbol: d", "symbol: d_{max", "braces", 2),
    "a share of nothing": (QUANTITIES, "unit: m\n", "unit: m\n  share_of: soil_width\n", "not in the glossary", 4),
    "600 quantities": (
        QUANTITIES,
        QUANTITY,
        "".join(QUANTITY.replace("soil_depth", f"soil_{at}") for at in range(600)),
        "at most 500 entries",
        1,
    ),
    "a caution of 40 words": (
        "assets/hazards.yaml",
        "never dig alone",
        "never dig alone " + "or at all " * 12,
        "35 is the most",
        1,
    ),
    "a caution for nothing": ("assets/hazards.yaml", "[soil_depth]", "[soil_width]", "is no quantity", 6),
    "a place hotter than the sun": (PLACES, "hottest_cell: 68", "hottest_cell: 6800", "is not plausible", 5),
    "a place in volts": (PLACES, "record_low: -12 degC", "record_low: -12 V", "but is written as", 3),
    "a module of a megawatt": (
        MODULES,
        "voc: 22.3 V\n  module_vmp: 18.6 V",
        "voc: 22.3 kV\n  module_vmp: 18.6 kV",
        "module_power says",
        1,
    ),
    "a source half checked": ("assets/sources.yaml", "Invented notes", "Notes from memory", "how far a source", 2),
    "an agreement of anchors": ("assets/agreements.yaml", "soil_depth <= 3 m", "&a soil_depth <= 3 m", "anchors", 2),
    "a table like itself": (TABLES, "  kind", "  like: soil_factor\n  kind", "no table 'soil_factor' above", 3),
    "a table without a column": (TABLES, "value: factor", "value: faktor", "no column 'faktor'", 1),
    "a table of two bands": (
        TABLES,
        "  value:",
        "    more: {column: factor, match: at_or_above}\n  value:",
        "keys do not fit",
        1,
    ),
    "a table without rows": (TABLES, "  kind", "  where: {edition: others}\n  kind", "has no rows", 1),
    "5000 rows": (FIGURES, ROW, ROW * 4500, "at most 1000 rows", 1002),
    "1001 rows": (FIGURES, ROW, "us,,1,1,x,read\n" * 1001, "at most 1000 rows", 1002),
    "300 columns": (FIGURES, HEADER, HEADER.replace("\n", "," * 300 + "\n"), "at most 16 columns", 1),
    "a cell of 9000 letters": (FIGURES, "invented", "x" * 9000, "longer than 300 characters", 2),
    "a cell without an end": (FIGURES, "invented", '"invented', "the CSV cannot be read", 2),
    "one cell too many": (FIGURES, "us,none", "us,none,none", "has 7 cells, and the header 6", 2),
    "a number in another script": (FIGURES, "0.9", "٠٫٩", "is no number", 2),
    "a number without end": (FIGURES, "0.9", "inf", "is no number", 2),
    "a number of 400 digits": (FIGURES, "0.9", "9" * 200, "is no number", 2),
    "a row without a source": (FIGURES, "invented", "", "without a source", 2),
    "a row without a standing": (FIGURES, '"common practice, no source"', "sure", "without a standing", 2),
    "a rulebook of its own": (FIGURES, "us,", "mine,", "no rulebook", 2),
    "a row twice": (FIGURES, ROW, ROW + ROW, "another row for 1", 3),
    "bytes of no text": (FIGURES, "invented", "\x00", "cannot be printed", 2),
}


@pytest.mark.parametrize(("name", "old", "new", "words", "line"), ATTACKS.values(), ids=ATTACKS)
def test_an_attack_by_an_entry_ends_in_a_sentence_with_file_line_and_mend(tmp_path, name, old, new, words, line):
    assert EVERYTHING[name].count(old) == 1
    laid(tmp_path, EVERYTHING | {name: EVERYTHING[name].replace(old, new)})
    with pytest.raises(ContentError, match=re.escape(words)) as caught:
        load(tmp_path)
    fault = caught.value
    assert (fault.path, fault.line) == (tmp_path / name, line)
    assert str(fault).endswith(".")
    assert len(str(fault)) < 600


def test_a_table_reads_no_file_elsewhere(tmp_path):
    laid(tmp_path, {TABLES: TABLE.replace("soil.csv", "../../../etc/passwd")})
    with pytest.raises(ContentError, match="file: use lower-case letters") as caught:
        load(tmp_path)
    assert caught.value.line == 4


PROVED = {
    "no comparison": ("soil_depth <= 3 m", "soil_depth + 3 m", "is no comparison"),
    "like with unlike": ("soil_depth <= 3 m", "soil_depth <= 3 V", "the dimensions do not fit"),
    "a quantity of nowhere": ("soil_depth <= 3 m", "soil_width <= 3 m", "not in the glossary"),
    "ninth powers": ("soil_depth <= 3 m", "((soil_depth^9)^9)^9 <= 3 m", "powers of powers may come to 9"),
    "division by nothing": ("soil_depth <= 3 m", "soil_depth / (3 m - 3 m) <= 1", "a divisor is zero"),
    "what built-in parts break": ("soil_depth <= 3 m", "module_voc <= 1 V", "breaks the agreement 'not-too-deep'"),
}


@pytest.mark.parametrize(("old", "new", "words"), PROVED.values(), ids=PROVED)
def test_an_agreement_is_proved_before_it_binds(tmp_path, old, new, words):
    laid(tmp_path, EVERYTHING | {"assets/agreements.yaml": AGREEMENT.replace(old, new)})
    with pytest.raises(ContentError, match=re.escape(words)):
        proving.load_proved(tmp_path)


def test_a_part_that_breaks_an_agreement_is_told_with_its_line(tmp_path):
    laid(tmp_path, {MODULES: MODULE.replace("fuse_max: 15 A", "fuse_max: 60 A").replace("imp: 6.45", "imp: 6.95")})
    with pytest.raises(ContentError) as caught:
        proving.load_proved(tmp_path)
    assert (caught.value.path, caught.value.line) == (tmp_path / MODULES, 1)


COMMANDS = {
    "exercises": ["exercises"],
    "problem": ["problem", "most-modules-in-series"],
    "mark": ["mark", "most-modules-in-series", "--answer", "9"],
    "working": ["working", "most-modules-in-series", "-"],
    "tables": ["tables"],
    "verify": ["verify", "--draws", "1"],
    "diagnose-trial": ["diagnose-trial", "--learners", "1"],
    "set check": ["set", "check", "SET"],
    "set open": ["set", "open", "SET", "--class", "evening"],
    "server": [],
}


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
@pytest.mark.parametrize("before", [True, False])
def test_every_command_takes_the_folder_before_or_after_its_name(tmp_path, command, before):
    """A folder with a fault is refused wherever it is named: none of them drops it."""
    folder = laid(tmp_path / "own", {QUANTITIES: QUANTITY.replace("unit: m", "unit: soilmeter")})
    (tmp_path / "set.yaml").write_text("id: one\ntitle: One\nitems:\n  - exercise: most-modules-in-series\n")
    paths = {"SET": str(tmp_path / "set.yaml"), "OUT": str(tmp_path / "out")}
    arguments = [paths.get(part, part) for part in command]
    option = ["--content", str(folder)]
    store = ["--store", str(tmp_path / "store.sqlite3")]
    arguments = [*store, *option, *arguments] if before else [*store, *arguments, *option]
    done = CliRunner().invoke(main, arguments, input="1 V\n", catch_exceptions=False)
    assert (done.exit_code, "'soilmeter' is not a unit" in done.stderr) == (2, True), done.stderr


def test_a_changed_file_alone_is_proved_again(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    sound = (Path(__file__).parents[1] / "corpora" / "faulty_exercises" / "sound-exercise.yaml").read_text("utf-8")
    files = {f"exercises/own/{id_}.yaml": sound.replace("id: sound-exercise", f"id: {id_}") for id_ in ("one", "two")}
    folder = laid(tmp_path / "own", {**files, **EVERYTHING})
    proved: list[list[str]] = []

    def proofs(paths, extra):
        proved.append(sorted(path.name for path in paths))
        return iter([None] * len(paths))

    monkeypatch.setattr(proving, "proofs", proofs)
    for _ in range(2):
        proving.load_proved(folder)
    assert len(proved) == 1
    assert len(proved[0]) == 8
    laid(folder, {"exercises/own/two.yaml": files["exercises/own/two.yaml"].replace("level: 2", "level: 3")})
    proving.load_proved(folder)
    assert proved[1] == ["two.yaml"]
    laid(folder, {QUANTITIES: QUANTITY.replace("[0.1, 3]", "[0.1, 4]")})
    proving.load_proved(folder)
    assert proved[2] == proved[0]


def test_a_file_with_a_fault_is_proved_each_time(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    folder = laid(tmp_path / "own", EVERYTHING | {"assets/agreements.yaml": AGREEMENT.replace("<= 3 m", "<= 3 V")})
    for _ in range(2):
        with pytest.raises(ContentError, match="dimensions do not fit"):
            proving.load_proved(folder)
