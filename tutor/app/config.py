"""What this process was started with: its settings, its store, and the tokens of learners' browsers."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from tutor.learner.tokens import Tokens
from tutor.store.database import Store

STORE_FAILED = (
    "The database does not answer just now, so what you did last was not kept. Nothing else is lost: all that was "
    "saved before is there, and what you typed stays in its box. Wait a moment and press the button again, or load the "
    "page again."
)


@dataclass(frozen=True)
class Settings:
    """What the command line chose: the store's address and a folder of further content; None for the usual ones.

    `opened` is the store as the server opened it at its start: it is opened once, so that none is made in its place
    later. `named` is the origin of learners' links that the instructor gave, `served` the one that follows from where
    the server listens; each is '' if there is none.
    """

    store: str | None = None
    content: Path | None = None
    named: str = ""
    served: str = ""
    opened: Store | None = None


_settings = Settings()


def settings() -> Settings:
    """Return what this process was started with."""
    return _settings


def begin_with(chosen: Settings) -> None:
    """Take the settings of the command line, once, before the server's threads start."""
    global _settings  # noqa: PLW0603
    _settings = chosen


@lru_cache(maxsize=1)
def store() -> Store:
    """The store that this process was started with."""
    return settings().opened or Store.open(settings().store)


def tokens() -> Tokens:
    """The tokens of learners' browsers."""
    return _tokens(store())


@lru_cache(maxsize=1)
def _tokens(store: Store) -> Tokens:
    return Tokens(store)
