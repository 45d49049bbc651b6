"""Files are taken for an uploader that is shown, few at a time, and freed at once; a flood of them does no harm."""

from dataclasses import replace

import pytest
from streamlit.proto.Common_pb2 import FileUploaderState
from streamlit.runtime.uploaded_file_manager import UploadedFileRec

from tutor.app.server import uploads
from tutor.app.server.uploads import DESK, FULL, MOST_OF_SESSION, WORKING, Size, Uploads

WORKING_PAGE = ("working", "exercise=most-modules-in-series")
MB = b"x" * 1_000_000
SMALL = Size(100, 350)


def file(id_: str, data: bytes = b"1") -> UploadedFileRec:
    return UploadedFileRec(id_, "name.csv", "text/csv", data)


def asked(kept: Uploads, session: str) -> str:
    return kept.get_upload_urls(session, ["name.csv"])[0].file_id


def kept_ids(kept: Uploads, session: str, ids: list[str]) -> list[str]:
    return [one.file_id for one in kept.get_files(session, ids)]


@pytest.fixture
def kept():
    return Uploads()


def test_without_an_uploader_no_file_is_asked_for(kept):
    assert kept.get_upload_urls("s", ["a"]) == []
    kept.add_file("s", file("invented"))
    assert kept.get_files("s", ["invented"]) == []


def test_an_id_is_good_once_and_for_its_own_session(kept):
    kept.shows("s", SMALL)
    kept.shows("t", SMALL)
    id_ = asked(kept, "s")
    assert kept.asked_for("t", id_) is None
    assert kept.asked_for("s", id_) == SMALL
    kept.add_file("s", file(id_))
    assert kept.asked_for("s", id_) is None
    kept.add_file("s", file(id_, b"another"))
    assert kept.get_files("s", [id_])[0].data == b"1"


def test_only_the_newest_few_of_many_are_asked_for_and_kept(kept):
    kept.shows("s", SMALL)
    assert len(kept.get_upload_urls("s", ["name"] * 100_000)) == MOST_OF_SESSION
    ids = [asked(kept, "s") for _ in range(50)]
    assert [id_ for id_ in ids if kept.asked_for("s", id_)] == ids[-MOST_OF_SESSION:]
    for _ in range(20):
        ids.append(asked(kept, "s"))
        kept.add_file("s", file(ids[-1]))
    assert kept_ids(kept, "s", ids) == ids[-MOST_OF_SESSION:]


def test_a_file_too_large_is_cut_so_that_the_page_says_it(kept):
    kept.shows("s", SMALL)
    kept.add_file("s", file(id_ := asked(kept, "s"), b"x" * 5000))
    assert len(kept.get_files("s", [id_])[0].data) == SMALL.one + 1


def test_when_all_is_full_the_page_is_told_and_the_desk_still_has_room(kept):
    sent = {}
    for session in "abcde":
        kept.shows(session, SMALL)
        kept.add_file(session, file(sent.setdefault(session, asked(kept, session)), b"x" * 100))
    types = [kept.get_files(session, [id_])[0].type for session, id_ in sent.items()]
    assert types == ["text/csv"] * 3 + [FULL] * 2
    kept.shows("desk", replace(SMALL, one=101))
    kept.add_file("desk", file(id_ := asked(kept, "desk"), b"x" * 100))
    assert kept.get_files("desk", [id_])[0].type == "text/csv"


def test_what_a_run_shows_no_more_is_freed_and_what_has_just_come_stays(kept):
    kept.shows("s", SMALL)
    first, second = asked(kept, "s"), asked(kept, "s")
    kept.add_file("s", file(first))
    with kept.of_run("s"):
        kept.shows("s", SMALL)
        kept.reads("s", first)
    with kept.of_run("s"):
        kept.shows("s", SMALL)
        kept.add_file("s", file(second))  # the page has not read it yet
    assert kept_ids(kept, "s", [first, second]) == [second]
    with kept.of_run("s"):
        pass
    assert kept_ids(kept, "s", [second]) == []
    assert kept.get_upload_urls("s", ["a"]) == []


def test_a_run_that_is_broken_off_frees_nothing(kept):
    kept.shows("s", SMALL)
    kept.add_file("s", file(id_ := asked(kept, "s")))
    with pytest.raises(KeyError), kept.of_run("s"):
        raise KeyError
    assert kept_ids(kept, "s", [id_]) == [id_]


def test_a_closed_page_holds_nothing(kept):
    for session in "ab":
        kept.shows(session, SMALL)
        kept.add_file(session, file(asked(kept, session)))
    kept.free_closed(lambda session: session == "b")
    assert set(kept.file_storage) == {"b"}


def test_what_all_may_hold_is_less_than_a_small_computer_can_spare():
    assert WORKING.together + DESK.together <= 40_000_000
    assert DESK.one == uploads.MOST_BYTES  # else a file between the two would need a name that its uploader takes


def flood(tab, addresses, data) -> list[int]:
    """The answers to files sent to addresses; 0 where the server hung up before the body was through."""
    told = []
    for address in addresses:
        try:
            told.append(tab.upload(address, data).status)
        except ConnectionError:
            told.append(0)
    return told


def test_files_under_invented_ids_are_turned_away_and_memory_stays(tab, attacked):
    tab("working", WORKING_PAGE[1]).close()
    page = tab(*WORKING_PAGE)
    before = attacked.memory()
    addresses = [f"{uploads.ADDRESS}/{page.session}/invented-{at}" for at in range(100)]
    assert set(flood(page, addresses, MB)) <= {403, 0}
    assert set(flood(page, addresses[:5], b"small")) == {403}
    assert attacked.memory() - before < 20


def test_a_page_that_asks_for_many_holds_few(tab, attacked):
    page = tab(*WORKING_PAGE)
    before = attacked.memory()
    for _ in range(25):
        addresses = [address for _, address in page.upload_addresses(["a", "b", "c", "d"])]
        assert set(flood(page, addresses, MB)) == {204}
    assert attacked.memory() - before < 20


@pytest.mark.parametrize("page", ["", "practice", "lessons", "class-desk"])
def test_a_page_without_an_uploader_is_given_no_address(tab, page):
    assert tab(page).upload_addresses(["a"]) == []


def test_another_sessions_address_is_no_use_after_the_page_has_left_it(tab):
    page = tab(*WORKING_PAGE)
    ((_, address),) = page.upload_addresses(["a"])
    page.page, page.query = "lessons", ""
    page.run()
    assert page.upload(address, b"1").status == 403


def test_a_file_without_its_length_is_turned_away(tab):
    page = tab(*WORKING_PAGE)
    ((_, address),) = page.upload_addresses(["a"])
    assert page.upload(address, b"1", transfer_encoding="chunked").status == 411


@pytest.mark.parametrize(
    ("data", "says"), [(b"450 / 46.8 = 9.6", "450 / 46.8"), (b"9" * 200_000, "The file is larger than 20 kB")]
)
def test_an_honest_file_is_read_or_the_page_says_why_not(tab, data, says):
    page = tab(*WORKING_PAGE)
    (shown,) = page.elements("file_uploader")
    ((id_, address),) = page.upload_addresses(["w.txt"])
    assert page.upload(address, data, "w.txt").status == 204
    state = FileUploaderState()
    state.uploaded_file_info.add(file_id=id_, name="w.txt", size=len(data))
    page.received.clear()
    page.run({shown.id: state})
    assert says in page.text()


def test_a_desks_file_is_freed_when_its_page_closes(instructor, attacked, wait_until):
    desks = [instructor("Roster") for _ in range(8)]
    before = attacked.memory()
    for desk in desks:
        for _, address in desk.upload_addresses(["a", "b", "c", "d"]):
            assert desk.upload(address, MB).status == 204
    assert attacked.memory() - before > 20
    for desk in desks:
        desk.close()
    assert wait_until(lambda: attacked.memory() - before < 10)
