"""What a learner types is shown as text: nothing in it turns into a picture, a link, a formula or an icon."""

import re
import string

import pytest

from tutor.app.components.showing import plain, typed
from tutor.base.text import steers
from tutor.entries.kinds import capitalised

JOINER = "\u2060"
PUNCTUATION = re.escape(string.punctuation)
# GitHub Flavored Markdown, 6.9 Autolinks (extension): www. and a domain; http:// or https:// and a domain; an address
# with @.  Emoji by :name: are common beside it.
TURNED = re.compile(r"www\.|https?://|[\w.+-]@[\w-]+\.|:[\w+-]+:|:[\w-]+/[\w-]+:")
HOSTILE = [
    "![](http://127.0.0.1/x.png)",
    "[x](javascript:alert(1))",
    "<img src=x onerror=alert(1)>",
    "<script>alert(1)</script>",
    "www.example.org",
    "HTTPS://example.org",
    "someone@example.org",
    ":smile:",
    ":material/home:",
    ":red[x]",
    "$x^2$",
    "`x` **x** _x_ ~~x~~",
    "# x",
    "> x",
    "- x",
    "1. x",
    "| a | b |",
    "\\\\ \\* &amp; &#60;",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_markdown_reads_it_as_the_same_text(text):
    """CommonMark 0.31, 2.4 Backslash escapes: any ASCII punctuation after a backslash is that character and no more."""
    assert re.fullmatch(rf"(?:\\[{PUNCTUATION}]|[^{PUNCTUATION}])*", plain(text))
    assert re.sub(rf"\\([{PUNCTUATION}])", r"\1", plain(text)).replace(JOINER, "") == text


@pytest.mark.parametrize("text", HOSTILE)
def test_nothing_is_left_for_what_reads_the_text_after_markdown(text):
    assert not TURNED.search(plain(text).replace("\\", ""))


def test_what_a_learner_typed_neither_turns_nor_breaks_the_line_that_it_stands_in():
    shown = typed("9\u202e**\u2069\n\n✔ right\x9b")
    assert not any(map(steers, shown))
    assert shown == plain(r"9\u202e**\u2069\u000a\u000a✔ right\u009b")


def test_ordinary_sentences_stay_as_they_are():
    said = "Right: the cold voltage is 46,76 V. Check 420.9 V ≤ 450 V"
    assert plain(said).replace("\\", "") == said


def test_only_the_first_letter_is_made_large():
    assert capitalised("module's Voc") == "Module's Voc"
    assert capitalised("") == ""
