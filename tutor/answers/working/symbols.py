"""What people call the quantities of a problem on paper: their names, their symbols, the data sheet's letters."""

import re
from functools import lru_cache

from tutor.content.models import Quantity
from tutor.engine.problem import Problem

_LATEX = re.compile(r"\\text\{|\\mathrm\{|[{}\\]|_|,|\s")
SHORTEST = 2  # a single letter may be a symbol only if no other quantity of the problem has it


class Symbols:
    """The names of a problem's quantities, longest first."""

    def __init__(self, problem: Problem) -> None:
        quantities = problem.question.library.quantities
        self._meant: dict[str, set[str]] = {}
        for name in [*problem.known, *problem.step_names]:
            for called in _called(name, quantities[name]):
                self._meant.setdefault(_key(called), set()).add(name)

    def named(self, text: str) -> str | None:
        """The quantity that a text names, if it names exactly one."""
        meant = self._meant.get(_key(text), set())
        return next(iter(meant)) if len(meant) == 1 else None


@lru_cache(maxsize=1024)
def _key(text: str) -> str:
    plain = re.sub(r"\b(the|a|an|of|at|in|on|my|per)\b", " ", text.casefold())
    return re.sub(r"[\W_]+", "", plain)


def _called(name: str, quantity: Quantity) -> list[str]:
    letters = _LATEX.sub("", quantity.symbol)
    called = [name.replace("_", " "), quantity.words, *quantity.aliases]
    return [*called, letters] if len(letters) >= SHORTEST else [*called, quantity.symbol]


def symbols(problem: Problem) -> Symbols:
    """The names of a problem's quantities."""
    return Symbols(problem)
