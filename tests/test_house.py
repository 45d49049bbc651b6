"""The state of the house: no import goes in a circle, no module stands alone, and names say what a thing is."""

import ast
import re
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in (ROOT / "tutor").rglob("*.py")
}
# What is started by its name: commands, the page's script, the process that checks workings, schemas, migrations.
STARTED = {"tutor.cli", "tutor.app.main", "tutor.app.server.checking", "tutor.tools.schema"}
STARTED |= {name for name in MODULES if name.startswith("tutor.store.migrations")}
# Pronouns, particles and verbs that say nothing of what is bound; words of the field are not among them.
_EMPTY = """
    told found one ones of at kept some said who whose which how all each every other others rest this that these
    those here there so as it them they ours theirs mine own now then thing things meant seen made taken asked done
    got held put gone known stands standing another both either same such any none no yes also more less much many
    few whole without to on for from is are was were has have had do does did can may must should stuff know say
    tell tells telling find finds keep keeps holds stand come comes came goes go went take takes give gives gave
    make makes puts let lets see sees look looks looked meaning like whether if only just still yet again once twice
    ever never always out about
"""
EMPTY = set(_EMPTY.split())
MOST_EMPTY = 0.012  # the share as it was last counted; it only goes down


@cache
def tree_of(module):
    return ast.parse(MODULES[module].read_text(encoding="utf-8"))


def imported(module, nodes):
    """Modules of the tutor that import statements among some nodes lead to."""
    package = module if MODULES[module].name == "__init__.py" else module.rpartition(".")[0]
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            source = ".".join([*above, node.module or ""]).rstrip(".")
            inner = [f"{source}.{alias.name}" for alias in node.names]
            yield from (name if name in MODULES else source for name in inner)


def when_loaded(module):
    """The statements that run when a module is loaded, those within `if` and `try` among them."""
    waiting = list(tree_of(module).body)
    while waiting:
        node = waiting.pop()
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not is_for_types_alone(node):
            yield node
            waiting += ast.iter_child_nodes(node)


def is_for_types_alone(node):
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)


def test_no_import_goes_in_a_circle():
    graph = {
        module: {other for other in imported(module, when_loaded(module)) if other in MODULES and other != module}
        for module in MODULES
    }
    order = list(TopologicalSorter(graph).static_order())  # a CycleError names the circle
    assert len(order) == len(MODULES)


def test_every_module_is_reached_from_what_is_started():
    reached, waiting = set(), [*STARTED]
    while waiting:
        module = waiting.pop()
        if module in MODULES and module not in reached:
            reached.add(module)
            waiting += [*imported(module, ast.walk(tree_of(module))), module.rpartition(".")[0]]
            waiting += named_in_text(module)
    assert sorted(MODULES.keys() - reached) == []


def named_in_text(module):
    """Modules loaded by a text: their name, their package's with a dot, or the path of their file from here."""
    texts = {node.value for node in ast.walk(tree_of(module)) if isinstance(node, ast.Constant)}
    paths = {MODULES[module].parent / text for text in texts if isinstance(text, str) and text.endswith(".py")}
    packages = tuple(text for text in texts if isinstance(text, str) and re.fullmatch(r"tutor\..*\.", text))
    return [name for name, path in MODULES.items() if name in texts or path in paths or name.startswith(packages)]


def bound_names(module):
    for node in ast.walk(tree_of(module)):
        match node:
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name) | ast.ClassDef(name=name):
                yield name
            case ast.arg(arg=name) | ast.Name(id=name, ctx=ast.Store()):
                yield name
            case ast.MatchAs(name=str(name)) | ast.MatchStar(name=str(name)) | ast.ExceptHandler(name=str(name)):
                yield name


def test_names_say_what_a_thing_is():
    names = [name for module in MODULES for name in bound_names(module) if name not in ("self", "cls", "_")]
    empty = [name for name in names if name.strip("_") in EMPTY]
    assert len(empty) <= MOST_EMPTY * len(names), f"{len(empty)} of {len(names)}"


@pytest.mark.parametrize(
    ("text", "count"), [("def f(found, cells): told, volts = 1, 2", 2), ("for one in ():\n  at: int = 1", 2)]
)
def test_empty_names_are_seen_wherever_they_are_bound(text, count, monkeypatch):
    monkeypatch.setitem(MODULES, "tutor.example", None)
    monkeypatch.setattr(f"{__name__}.tree_of", lambda _: ast.parse(text), raising=False)
    assert sum(name in EMPTY for name in bound_names("tutor.example")) == count
