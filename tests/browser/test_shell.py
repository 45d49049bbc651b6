import urllib.request

import pytest

pytestmark = pytest.mark.browser


def test_the_start_page_says_what_to_do_next(server, open_page):
    page = open_page(server.address)
    assert page.title() == "Start · Cold Morning"
    assert page.get_by_role("heading", level=1).inner_text() == "Size a small solar system before you buy a part of it"
    page.get_by_role("button", name="Next: the first lesson").click()
    page.wait_for_url("**/lessons?lesson=*")


def test_the_security_headers_are_on_pages_and_scripts(server):
    for path in ("/", "/_stcore/health"):
        with urllib.request.urlopen(server.address + path) as answer:
            headers = answer.headers
        policy = headers["content-security-policy"]
        assert "frame-ancestors 'none'" in policy
        assert "script-src 'self';" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"


def test_a_browser_gets_one_lasting_cookie_that_scripts_cannot_read(server, open_page):
    page = open_page(server.address)
    (cookie,) = [one for one in page.context.cookies() if one["name"] == "coldmorning_learner"]
    assert cookie["httpOnly"]
    assert cookie["sameSite"] == "Lax"
    assert "coldmorning_learner" not in page.evaluate("document.cookie")
    page.reload()
    page.wait_for_selector("h1")
    assert cookie["value"] in [one["value"] for one in page.context.cookies()]


def test_a_link_from_a_friend_opens_the_same_page(server, open_page):
    page = open_page(server.address + "/tables?rulebook=iec")
    assert page.get_by_role("radio", name="IEC 60364").is_checked()
    assert "/tables?rulebook=iec" in page.url


def test_the_keyboard_alone_reaches_the_next_thing(server, open_page):
    page = open_page(server.address)
    for _ in range(60):  # a page that is run once more on the way begins again at its first link
        page.keyboard.press("Tab")
        focused = page.evaluate("document.activeElement.innerText")
        if focused.startswith("Next"):
            break
    assert focused.startswith("Next")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert outline == "3px"
    page.keyboard.press("Enter")
    page.wait_for_url("**/lessons?lesson=*")


def test_a_link_to_a_table_row_opens_it(server, open_page):
    page = open_page(server.address + "/tables?find=-18")
    rows = page.locator("table").first.locator("tbody tr")
    rows.first.wait_for()
    assert rows.count() == 1
    # NFPA 70-2017 Table 690.7(A), third-party transcription: -16 to -20 degC, 1.18
    assert "1.18" in rows.first.inner_text()


def test_a_bare_letter_does_not_run_the_page_again(server, open_page, settled):
    page = open_page(server.address)
    sent = []

    def watch(socket):
        socket.on("framesent", lambda frame: sent.append(len(frame)))

    page.on("websocket", watch)
    page.reload()
    settled(page)
    page.wait_for_load_state("networkidle")  # its scripts have come, that which takes the letters too
    before = len(sent)
    assert before > 0
    page.keyboard.press("Tab")
    page.keyboard.press("r")
    settled(page)
    assert len(sent) == before
    page.get_by_role("button", name="Next: the first lesson").click()  # what is sent is seen
    page.wait_for_url("**/lessons?lesson=*")
    assert len(sent) > before
