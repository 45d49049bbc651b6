"""What all tests share: the built-in content, its questions, and the long properties kept out of ordinary runs."""

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


def pytest_generate_tests(metafunc):
    """A test that takes `question` runs for each entry of `asks` of every built-in exercise."""
    if "question" in metafunc.fixturenames:
        engine = Engine(load())
        asked = [(id_, ask) for id_, exercise in engine.library.exercises.items() for ask in exercise.asks]
        metafunc.parametrize(
            "question", [engine.question(*one) for one in asked], ids=[":".join(one) for one in asked], scope="session"
        )


@pytest.fixture(scope="session")
def library():
    return load()


@pytest.fixture(scope="session")
def engine(library):
    return Engine(library)
