"""Addresses of problems: what the query parameters of the practice page say, and back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tutor.problems.question import RequestError

HIGHEST_NUMBER = 10**12
LONGEST_NAME = 80


@dataclass(frozen=True)
class Address:
    """One problem: exercise, number, the quantity asked (None: the usual one), rulebook, the learner's own numbers."""

    exercise: str
    number: int = 1
    ask: str | None = None
    rulebook: str = "us"
    own: tuple[tuple[str, str], ...] = ()

    def query(self) -> dict[str, str | list[str]]:
        """The query parameters, the usual ones left out."""
        query: dict[str, str | list[str]] = {"exercise": self.exercise, "number": str(self.number)}
        if self.ask:
            query["ask"] = self.ask
        if self.rulebook != "us":
            query["rulebook"] = self.rulebook
        if self.own:
            query["given"] = [f"{name}={text}" for name, text in self.own]
        return query


def read(params: Mapping[str, str], given: Sequence[str]) -> Address | None:
    """Read query parameters, which anybody may have typed; None if they name no exercise.

    Raises RequestError for a number that is none, or a given without a value.
    """
    if not params.get("exercise"):
        return None
    number = params.get("number", "1")
    short = number.isascii() and number.isdigit() and len(number) <= len(str(HIGHEST_NUMBER))
    if not (short and 1 <= int(number) <= HIGHEST_NUMBER):
        raise RequestError(
            f"The address names no problem number: it has to be a whole number from 1 to {HIGHEST_NUMBER}."
        )
    own = []
    for text in given[:20]:
        name, sign, value = text.partition("=")
        if not sign:
            raise RequestError("The address has a given without a value; it should read given=NAME=VALUE.")
        own.append((name.strip()[:LONGEST_NAME], value.strip()[:120]))
    ask = params.get("ask", "")[:LONGEST_NAME] or None
    rulebook = params.get("rulebook", "us")[:LONGEST_NAME]
    return Address(params["exercise"][:LONGEST_NAME], int(number), ask, rulebook, tuple(own))
