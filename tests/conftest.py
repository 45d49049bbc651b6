"""What all tests share: the built-in content, its questions, and the long properties kept out of ordinary runs."""

from functools import lru_cache

import pytest

from tutor.content.library import load
from tutor.engine.question import Engine


def pytest_collection_modifyitems(config, items):
    """Leave the long forms of properties out unless they are asked for: pytest -m million."""
    if config.option.markexpr:
        return
    long = [item for item in items if item.get_closest_marker("million")]
    config.hook.pytest_deselected(items=long)
    items[:] = [item for item in items if item not in set(long)]


def _is_discrete(question):
    kinds = {question.library.quantities[step.name].kind for step in question.right.steps}
    return "answer" in kinds or any(step.kind in ("round", "look up", "choose") for step in question.right.steps)


# A test that takes one of these runs for each such entry of `asks` of every built-in exercise.
QUESTIONS = {
    "question": lambda question: True,
    "discrete_question": _is_discrete,
    "turned_question": lambda question: question.reversed,
    "bounded_question": lambda question: bool(question.limits),
}


@lru_cache(maxsize=1)
def _built_in():
    engine = Engine(load())
    return [engine.question(id_, ask) for id_, exercise in engine.library.exercises.items() for ask in exercise.asks]


def pytest_generate_tests(metafunc):
    """Give a test its questions."""
    for name in QUESTIONS.keys() & set(metafunc.fixturenames):
        chosen = [question for question in _built_in() if QUESTIONS[name](question)]
        metafunc.parametrize(name, chosen, ids=[f"{one.exercise.id}:{one.ask}" for one in chosen], scope="session")


@pytest.fixture(scope="session")
def library():
    return load()


@pytest.fixture(scope="session")
def engine(library):
    return Engine(library)
