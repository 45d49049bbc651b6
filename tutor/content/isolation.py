"""Whether an order makes every source safe: opened, locked and measured, in every problem drawn from it.

The three, in this order, are those of EN 50110-1 (from memory): disconnect, secure against closing again, prove dead.
"""

from collections.abc import Iterator
from typing import get_args

from tutor.content.files import Document
from tutor.content.models import EnergySource, Isolation, OrderExercise

_VERBS = {"opening": "open", "lock": "lock", "measurement": "measure"}  # what an action that does it has to say


def check_isolation(exercise: OrderExercise, document: Document) -> None:
    """Check that every source that an order names is opened, then locked and measured, by indispensable actions.

    Raises ContentError.
    """
    sentences = [*exercise.story, *exercise.actions.values()]
    for source in get_args(EnergySource):
        if source not in exercise.isolation and any(_names(sentence, source) for sentence in sentences):
            fault = f"nothing says how the {source} is made safe."
            raise document.fault(("isolation",), fault, f"Declare its opening, lock and measurement under '{source}'.")
    for source, isolation in exercise.isolation.items():
        for part, fault, mend in _faults(exercise, source, isolation):
            raise document.fault(("isolation", source, part), f"the {part} of the {source} {fault}.", mend)


def _names(sentence: str, source: str) -> bool:
    return source.removesuffix("y") in sentence.lower()  # batteries and supplies too


def _faults(exercise: OrderExercise, source: EnergySource, isolation: Isolation) -> Iterator[tuple[str, str, str]]:
    """What is wrong with how a source is made safe: the part, the fault, the mend."""
    waiting = exercise.after(isolation.opening)
    for part, verb in _VERBS.items():
        action = getattr(isolation, part)
        if action == Isolation.IN_STORY and part != "measurement":
            if not any(_names(sentence, source) and verb in sentence.lower() for sentence in exercise.story):
                yield part, f"is left to the story, which does not say '{verb}'", "Say it there, or name an action."
        elif action not in exercise.indispensable:
            yield part, "is not an indispensable action", f"List '{action}' under 'actions' and 'indispensable'."
        elif verb not in exercise.actions[action].lower():
            yield part, f"does not say '{verb}'", "Name the action that does it."
        elif part != "opening" and isolation.opening != Isolation.IN_STORY and action not in waiting:
            yield part, "may come before its opening", "Add an arrow, with its reason."
