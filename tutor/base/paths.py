"""Where the lessons, exercises and assets lie: inside the installed package, or beside it in a working copy."""

from pathlib import Path

_PACKAGE = Path(__file__).parents[1]


def content_root() -> Path:
    """The folder that holds lessons/, exercises/ and assets/."""
    shipped = _PACKAGE / "shipped"
    return shipped if shipped.is_dir() else _PACKAGE.parent
