"""Files that learners and instructors send: only those that a page asks for, few at a time, while it shows them.

The framework would keep whatever is sent under any id until the session has ended.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

import streamlit as st
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFileRec, UploadFileUrlInfo

ADDRESS = "/_stcore/upload_file"
# A page shows one uploader; the file before it, and one that is sent again after a broken connection, may overlap.
MOST_OF_SESSION = 4
MOST_BYTES = 1_048_576  # the framework answers a longer one with an error, and its page sends none
FORM = 4096  # bytes around a file in the body that brings it: the edges, its name and its type
FULL = "application/x-no-room"


@dataclass(frozen=True)
class Size:
    """The most bytes of one file, and of all files of that kind together that the server keeps at a time."""

    one: int
    together: int


# A working is a few hundred bytes; 4 MB are 200 of the largest, six classes that all send one at once.
WORKING = Size(20_000, 4_000_000)
# A roster or a table of answers of 1000 learners has some 100 kB. Only the desk shows such an uploader.
DESK = Size(MOST_BYTES, 32_000_000)


@dataclass
class _Page:
    """What a session's page asks for: the sizes of its uploaders, the ids given out, the files that a run has read."""

    sizes: set[Size] = field(default_factory=set)
    issued: list[str] = field(default_factory=list)
    read: set[str] = field(default_factory=set)


class Uploads(MemoryUploadedFileManager):
    """Takes a file only under an id that a page with an uploader was given, and frees what no page reads any more."""

    def __init__(self) -> None:
        super().__init__(ADDRESS)
        self._pages: dict[str, _Page] = {}  # of the last whole run, and what the run under way has shown so far
        self._runs: dict[str, _Page] = {}  # of the run under way

    @contextmanager
    def of_run(self, session: str) -> Iterator[None]:
        """Around a run of the page: when it has come to its end, only what it showed stays."""
        run = self._runs[session] = _Page()
        yield
        if self._runs.pop(session, None) is not run:
            return
        if not run.sizes:
            self.remove_session_files(session)
        elif (page := self._pages.get(session)) is not None:
            for id_ in page.read - run.read:
                self.remove_file(session, id_)
            page.sizes, page.read = run.sizes, run.read

    def shows(self, session: str, size: Size) -> None:
        """A page shows an uploader of that size."""
        for page in (self._pages.setdefault(session, _Page()), self._runs.get(session)):
            if page is not None:
                page.sizes.add(size)

    def reads(self, session: str, id_: str) -> None:
        """A page has read a file and shows what is in it."""
        for page in (self._pages.get(session), self._runs.get(session)):
            if page is not None:
                page.read.add(id_)

    def asked_for(self, session: str, id_: str) -> Size | None:
        """The size of the file that a page asked for under an id; None if none did."""
        page = self._pages.get(session)
        if page is None or id_ not in page.issued:
            return None
        return max(page.sizes, key=lambda size: size.one, default=None)

    def get_upload_urls(self, session_id: str, file_names: Sequence[str]) -> list[UploadFileUrlInfo]:
        """Give out ids for a page's files; the newest few of a session count."""
        page = self._pages.get(session_id)
        if page is None:
            return []
        given = super().get_upload_urls(session_id, file_names[:MOST_OF_SESSION])
        page.issued = [*page.issued, *(one.file_id for one in given)][-MOST_OF_SESSION:]
        return given

    def add_file(self, session_id: str, file: UploadedFileRec) -> None:
        """Keep a file that was asked for, up to one byte more than its uploader takes: so the page can say it."""
        page, size = self._pages.get(session_id), self.asked_for(session_id, file.file_id)
        if page is None or size is None:
            return
        page.issued.remove(file.file_id)
        cut = file._replace(data=file.data[: size.one + 1])
        if self._together(size) + len(cut.data) > size.together:
            cut = file._replace(data=b"", type=FULL)
        super().add_file(session_id, cut)
        for id_ in list(self.file_storage.get(session_id, {}))[:-MOST_OF_SESSION]:
            self.remove_file(session_id, id_)

    def remove_session_files(self, session_id: str) -> None:
        """Free everything of a session, whose page has no uploader any more or has been closed."""
        self._pages.pop(session_id, None)
        self._runs.pop(session_id, None)
        super().remove_session_files(session_id)

    def free_closed(self, is_open: Callable[[str], bool]) -> None:
        """Free the files of pages that have been closed."""
        for session in {*self._pages, *self._runs}:
            if not is_open(session):
                self.remove_session_files(session)

    def _together(self, size: Size) -> int:
        """The bytes kept for uploaders of one size."""
        sessions = [id_ for id_, page in list(self._pages.items()) if size in page.sizes]
        return sum(len(file.data) for id_ in sessions for file in list(self.file_storage.get(id_, {}).values()))


UPLOADS = Uploads()


def upload(label: str, types: Sequence[str], key: str, size: Size) -> tuple[str, bytes] | None:
    """Show an uploader; the name and content of the file in it, or None if there is none, after saying why."""
    session = _session()
    UPLOADS.shows(session, size)
    file = st.file_uploader(label, type=types, key=key)
    if file is None:
        return None
    UPLOADS.reads(session, file.file_id)
    if file.type == FULL:
        st.error("The server is busy with other files. Wait a minute and send this file again.")
        return None
    if file.size > size.one:
        st.error(f"The file is larger than {size.one // 1000} kB. Send a smaller file.")
        return None
    return file.name, file.getvalue()


@contextmanager
def freed_after_run() -> Iterator[None]:
    """Around the whole page: files that it does not show any more are freed."""
    with UPLOADS.of_run(_session()):
        yield


def _session() -> str:
    context = get_script_run_ctx()
    return context.session_id if context else ""


class UploadsAskedFor:
    """Lets the body of a file through only if a page asked for it, and one that is too large only as that news."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Look at the address and the length before a byte of the body is kept."""
        if scope["type"] != "http" or scope["method"] != "PUT" or f"{ADDRESS}/" not in scope["path"]:
            await self.app(scope, receive, send)
            return
        *_, session, id_ = scope["path"].split("/")
        size = UPLOADS.asked_for(session, id_)
        length = Request(scope).headers.get("content-length", "")
        answer: ASGIApp = self.app
        if size is None:
            answer = PlainTextResponse("No page asks for this file.", 403)
        elif not (length.isascii() and length.isdigit()):
            answer = PlainTextResponse("Say how long the file is.", 411)
        elif size.one + FORM < int(length) <= MOST_BYTES + FORM:
            # Only a working's uploader takes less than the framework; it refuses names of other kinds.
            UPLOADS.add_file(session, UploadedFileRec(id_, "too-large.txt", "", bytes(size.one + 1)))
            while (await receive()).get("more_body"):
                pass
            answer = Response(status_code=204)
        await answer(scope, receive, send)
