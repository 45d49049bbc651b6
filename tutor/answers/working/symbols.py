"""What people call the quantities of a problem on paper: their names, their symbols, the data sheet's letters."""

import re
from collections.abc import Iterable
from functools import lru_cache

from tutor.content.models import Quantity
from tutor.engine.problem import Problem

MOST_WORDS = 9
_COMMAND = re.compile(r"\\(?:text|mathrm)\b")
_GREEK = {
    "alpha": "α",
    "beta": "β",
    "gamma": "γ",
    "eta": "η",
    "Delta": "Δ",
    "tau": "τ",
    "rho": "ρ",
    "%": "%",
}
_BETWEEN = re.compile(
    r"\b(?:the|a|an|of|at|in|on|my|per|for|with|by|and|module'?s|panel'?s|string'?s|each|total|new|our|its|one)\b"
)


class Symbols:
    """The names of a problem's quantities."""

    def __init__(self, problem: Problem) -> None:
        quantities = problem.question.library.quantities
        names = list(dict.fromkeys([*problem.known, *problem.step_names]))
        self._own = _by_name((called, name) for name in names for called in _own_names(name, quantities[name]))
        self._exact = _by_name((called, name) for name in names for called in quantities[name].aliases)
        self._loose: dict[str, set[str]] = {}
        for name in names:
            for called in (*_own_names(name, quantities[name]), *quantities[name].aliases):
                self._loose.setdefault(_key(called), set()).add(name)

    def named(self, text: str) -> tuple[str, ...]:
        """All quantities that a text may name: those called exactly so, else those that differ in little words."""
        plain = _plain(text)
        found = self._own.get(plain) or self._exact.get(plain) or self._loose.get(_key(text)) or ()
        return tuple(sorted(found))

    def named_within(self, text: str) -> tuple[str, ...]:
        """The same for the longest run of words in a text that names one."""
        words = text.split()
        for length in range(min(len(words), MOST_WORDS), 0, -1):
            for start in range(len(words) - length + 1):
                run = " ".join(words[start : start + length])
                if (length > 1 or len(run) > 1) and (found := self.named(run)):
                    return found
        return ()


def _own_names(name: str, quantity: Quantity) -> tuple[str, ...]:
    return (name.replace("_", " "), name, quantity.words, letters(quantity.symbol))


def _by_name(called: Iterable[tuple[str, str]]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for text, name in called:
        found.setdefault(_plain(text), set()).add(name)
    return found


@lru_cache(maxsize=1024)
def letters(symbol: str) -> str:
    """A symbol of the glossary as it is typed: 'V_{oc,cold}' is 'Voc,cold'."""
    text = _COMMAND.sub("", symbol)
    for command, letter in _GREEK.items():
        text = text.replace(f"\\{command}", letter)
    return re.sub(r"[{}\\_ ]", "", text)


@lru_cache(maxsize=4096)
def _plain(text: str) -> str:
    plain = re.sub(r"[\s_{}.,()\-]+", "", text)
    return plain if len(plain) == 1 else plain.casefold()


@lru_cache(maxsize=4096)
def _key(text: str) -> str:
    plain = _plain(_BETWEEN.sub(" ", text.casefold()))
    return plain if len(plain) > 1 else _plain(text)
