"""How long work tells how far it is."""

from collections.abc import Callable

Progress = Callable[[int, int], None]
"""Called with how many are done and of how many, after each."""


def untold(_count: int, _total: int) -> None:
    """Tell nobody."""
