"""Formulas for paper: every formula and symbol of the catalogue can be set, and an index is a word."""

import pytest

from tutor.classroom.sheets.formula import mathml, parts
from tutor.content.library import load
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine
from tutor.problems.solution import worked_solution


def test_an_index_is_a_word_and_a_quotient_a_fraction():
    assert parts(r"V_{oc,cold}") == ["low", ["sign", "V"], ["row", ["text", "oc"], ["sign", ","], ["text", "cold"]]]
    assert parts(r"\frac{P}{V}") == ["fraction", ["sign", "P"], ["sign", "V"]]
    assert parts(r"\sqrt{2}") == ["root", ["text", "2"]]
    assert parts(r"\left(a\right)") == ["bracket", ["sign", "("], ["sign", "a"], ["sign", ")"]]
    assert "<mi>oc</mi>" in mathml(r"V_{oc}")


def test_what_cannot_be_printed_is_said():
    with pytest.raises(ValueError, match="mtable"):
        parts(r"\begin{matrix}a\end{matrix}")


def test_every_formula_and_symbol_of_the_catalogue_can_be_set():
    engine = Engine(load())
    formulas = {quantity.symbol for quantity in engine.library.quantities.values()}
    for id_, exercise in engine.library.exercises.items():
        rulebook = "us" if "us" in getattr(exercise, "rulebooks", ["us"]) else "iec"
        formulas |= {line.formula for line in worked_solution(make_problem(engine, id_, rulebook=rulebook))}
    for formula in formulas - {""}:
        assert parts(formula)
        assert mathml(formula).startswith("<math")
