"""What people call the quantities of a problem on paper: their names, their symbols, the data sheet's letters."""

import re
from collections import defaultdict
from collections.abc import Callable
from functools import lru_cache

from tutor.answers.working.phrases import PHRASES
from tutor.problems.problem import Problem

MOST_WORDS = 9  # of the longest name that a quantity of the glossary has
_COMMAND = re.compile(r"\\(?:text|mathrm)\b")
_LITTLE_WORDS = re.compile(rf"\b(?:{PHRASES['little_words']})\b")


class Symbols:
    """The names of a problem's quantities."""

    def __init__(self, problem: Problem) -> None:
        self._formal: dict[str, set[str]] = defaultdict(set)
        self._aliases: dict[str, set[str]] = defaultdict(set)
        self._loose: dict[str, set[str]] = defaultdict(set)
        for name in problem.all_values:
            quantity = problem.question.library.quantities[name]
            formal = (name.replace("_", " "), name, quantity.words, letters(quantity.symbol))
            for index, texts, spelling in (
                (self._formal, formal, _plain),
                (self._aliases, quantity.aliases, _plain),
                (self._loose, (*formal, *quantity.aliases), _without_little_words),
            ):
                _enter(index, texts, spelling, name)

    def named(self, text: str) -> tuple[str, ...]:
        """All quantities that a text may name: those called exactly so, else those that differ in little words."""
        plain = _plain(text)
        names = (
            self._formal.get(plain) or self._aliases.get(plain) or self._loose.get(_without_little_words(text)) or ()
        )
        return tuple(sorted(names))

    def named_within(self, text: str) -> tuple[str, ...]:
        """The same for the longest run of words in a text that names one."""
        words = text.split()
        for length in range(min(len(words), MOST_WORDS), 0, -1):
            for start in range(len(words) - length + 1):
                run = " ".join(words[start : start + length])
                if len(run) > 1 and (names := self.named(run)):
                    return names
        return ()


def _enter(
    index: dict[str, set[str]], texts: "tuple[str, ...] | list[str]", spelling: Callable[[str], str], name: str
) -> None:
    for text in texts:
        index[spelling(text)].add(name)


@lru_cache(maxsize=1024)
def letters(symbol: str) -> str:
    """A symbol of the glossary as it is typed: 'V_{oc,cold}' is 'Voc,cold'."""
    text = _COMMAND.sub("", symbol)
    for command, letter in PHRASES["greek"].items():
        text = text.replace(f"\\{command}", letter)
    return re.sub(r"[{}\\_ ]", "", text)


@lru_cache(maxsize=4096)
def _plain(text: str) -> str:
    plain = re.sub(r"[\s_{}.,()\-]+", "", text)
    return plain if len(plain) == 1 else plain.casefold()


@lru_cache(maxsize=4096)
def _without_little_words(text: str) -> str:
    plain = _plain(_LITTLE_WORDS.sub(" ", text.casefold()))
    return plain if len(plain) > 1 else _plain(text)
