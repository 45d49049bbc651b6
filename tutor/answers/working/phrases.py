"""How people put a calculation into words: the patterns and words of phrases.yaml."""

import re
from pathlib import Path
from typing import Any

import yaml

PHRASES: dict[str, Any] = yaml.safe_load(Path(__file__).with_name("phrases.yaml").read_text(encoding="utf-8"))


def pattern(name: str) -> re.Pattern[str]:
    """A long pattern of phrases.yaml, in which spaces do not count."""
    return re.compile(PHRASES[name], re.IGNORECASE | re.VERBOSE)


def replacements(name: str) -> list[tuple[re.Pattern[str], str]]:
    """The patterns of a list of phrases.yaml, each with what stands for it."""
    return [(re.compile(phrase, re.IGNORECASE), meaning) for phrase, meaning in PHRASES[name]]
