"""Addresses and answers that somebody wants to do harm with: each gets a sentence, none is more than text."""

from urllib.parse import quote

import pytest

pytestmark = pytest.mark.browser

PROBLEM = "/practice?exercise=most-modules-in-series"
LONG = "9" * 10_000


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("/practice?exercise=<script>alert(1)</script>", "<script>alert(1)</script>"),
        ("/practice?exercise=" + "x" * 10_000, "xxx"),
        ("/practice?exercise=../../etc/passwd", "passwd"),
        (PROBLEM + "&number=-1", "whole number from 1"),
        (PROBLEM + "&number=1e9999", "whole number from 1"),
        (PROBLEM + "&number=0000000000001" + LONG, "whole number from 1"),
        (PROBLEM + "&number=²", "whole number from 1"),
        (PROBLEM + "&number=", "whole number from 1"),
        (PROBLEM + "&ask=<img src=x>", "<img src=x>"),
        (PROBLEM + "&ask=" + "y" * 10_000, "yyy"),
        (PROBLEM + "&rulebook=" + "z" * 10_000, "zzz"),
        (PROBLEM + "&given=module_voc", "given=NAME=VALUE"),
        (PROBLEM + "&given=module_voc=1e400 V", "too large"),
        (PROBLEM + "&given=module_voc=" + "(" * 10_000, "Module's open-circuit voltage"),
        (PROBLEM + "&given=<b>=3", "<b>"),
        (PROBLEM + "&given=module_voc=-5 V", "real values lie between"),
        (PROBLEM + "&given=record_low=![](http://127.0.0.1:9/x.png)", "Record low"),
        ("/lessons?lesson=![](http://127.0.0.1:9/x.png)", "![](http://127.0.0.1:9/x.png)"),
        ("/lessons?lesson=" + "<" * 10_000, "There is no lesson"),
    ],
)
def test_a_hostile_address_gets_a_sentence(server, wanderer, address, says):
    path, _, query = address.partition("?")
    someone = wanderer()
    someone.go(server.address + path + "?" + quote(query, safe="=&"))
    someone.page.get_by_role("alert").first.wait_for()
    boxes = [box.inner_text() for box in someone.page.get_by_role("alert").all()]
    assert len(boxes) == 1
    told = boxes[0].replace("\u2060", "")
    assert says in told
    assert "has encountered an error" not in told
    assert len(told) < 500
    assert made_of_text(someone.page.locator(".stAlertContainer"))
    assert not [url for url in someone.page.requested if "127.0.0.1:9/" in url]


@pytest.mark.parametrize("rulebook", ["zz", "<script>", ""])
def test_a_table_address_that_names_nothing_opens_the_first(server, wanderer, rulebook):
    someone = wanderer()
    someone.go(f"{server.address}/tables?rulebook={quote(rulebook)}&table={quote(rulebook)}&find=%3Cb%3E")
    assert someone.page.get_by_role("radio").first.is_checked()
    assert "No row of this table fits" in someone.text


def test_markup_typed_as_an_answer_stays_text_and_loads_nothing(server, learner):
    someone = learner(server.address + PROBLEM)
    for entry in (
        "<b>9</b>",
        "<img src=//127.0.0.1:9/x>",
        "![](//127.0.0.1:9/x.png)",
        "[9](javascript:alert(1))",
        "www.example.org",
        "http://example.org",
        "someone@example.org",
        ":smile:",
        ":material/home:",
        ":red[9]",
        "$9^2$",
        "`9` **9** ~~9~~ # 9",
    ):
        verdict = someone.answer(entry)
        assert verdict.startswith("❔")
        if "“" in verdict:
            echoed = verdict.split("“")[1].split("”")[0].removesuffix("…")
            assert entry.startswith(echoed)
        assert made_of_text(someone.page.locator(".stAlertContainer").first), entry
    assert not [url for url in someone.page.requested if "127.0.0.1:9/" in url]


def made_of_text(box) -> bool:
    """Whether a box holds nothing but words in paragraphs, beside its own icon and strong beginning."""
    telling = box.get_by_test_id("stMarkdownContainer").first
    return telling.locator("a, img, code, script, em, del, h1, .katex, [role=img], span").count() == 0
