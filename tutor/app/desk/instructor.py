"""The desk from within: the one way from its pages to the store, and downloads that look at the session once more."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import streamlit as st

from tutor.app import session
from tutor.app.components.showing import plain
from tutor.app.server.downloads import offer
from tutor.base.errors import FaultyRequestError
from tutor.classroom.desk import InstructorAuth
from tutor.classroom.models import Outcome, StoredSet
from tutor.classroom.reports.results import Results
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.exams import Exams
from tutor.store.database import Store

Id = TypeVar("Id", int, str)
Content = TypeVar("Content")


class EndedError(Exception):
    """The session has ended; only entering again helps."""


class InstructorSession:
    """What an instructor who is inside works with; each use of the store looks at the session again."""

    def __init__(self, token: str) -> None:
        self._token = token

    @property
    def store(self) -> Store:
        """The store. Raises EndedError once the session has ended."""
        store = session.store()
        if not InstructorAuth(store).is_inside(self._token):
            raise EndedError("Your time at the desk has ended. Enter again; nothing that was saved is lost.")
        return store

    @property
    def register(self) -> Register:
        """The classes and their sets."""
        return Register(self.store)

    @property
    def exams(self) -> Exams:
        """What open exams close, and the exam switch."""
        return Exams(self.store)

    def results(self, practice_set: StoredSet) -> Results:
        """One set as its instructor sees it."""
        return Results(self.store, practice_set)

    def outcomes(self, practice_set: StoredSet) -> list[Outcome]:
        """How everybody stands with a set."""
        return self.results(practice_set).outcomes()

    def leave(self) -> None:
        """End the session."""
        InstructorAuth(session.store()).leave(self._token)

    def download(
        self, label: str, content: Callable[[], bytes | str], file_name: str, mime: str, *, first: bool = False
    ) -> None:
        """Offer a file, made when it is asked for if the session lasts till then; `first`: it is what to do next."""

        def file_content() -> bytes | str:
            try:
                _ = self.store
                return content()
            except EndedError as error:
                raise FaultyRequestError(str(error)) from None

        offer(label, file_content, file_name, mime, first=first)


def confirmed(action: str, consequence: Callable[[], str], go_ahead: str, leave_it: str, key: str) -> bool:
    """A button that acts only after its consequence was read: `go_ahead` or `leave_it` is pressed in a second step."""
    if not st.session_state.get(key):
        if st.button(action, key=f"{key} asked"):
            st.session_state[key] = True
            st.rerun()
        return False
    st.warning(plain(f"{action}: {consequence()}"), icon="⚠")
    with st.container(horizontal=True):
        agreed = st.button(go_ahead, type="primary", key=f"{key} agreed")
        left = st.button(leave_it, key=f"{key} left")
    if agreed or left:
        del st.session_state[key]
    if left:
        st.rerun()
    return agreed


class Bar:
    """A progress bar that tells how many of how many are done."""

    def __init__(self, words: str, things: str) -> None:
        self._bar, self._things = st.progress(0.0, words), things

    def __call__(self, count: int, total: int) -> None:
        """Show how far it is."""
        self._bar.progress(count / max(1, total), f"{count} of {total} {self._things}")


def pick(label: str, names: Mapping[Id, str], key: str, into: Any = st) -> Id:
    """Let one of several be chosen by its name; the choice stays, whatever becomes of the names and of the tab.

    The browser keeps the text of what was chosen, so a list whose names have changed has to be another box: else it
    would show the old state beside the new content.
    """
    ids = list(names)
    before: Any = st.session_state.get(key)
    index = ids.index(before) if before in names else 0
    chosen: Id = into.selectbox(
        label, ids, index, format_func=names.__getitem__, key=f"{key} {hash(tuple(names.items()))}"
    )
    st.session_state[key] = chosen
    return chosen


def lasting(widget: Callable[..., Content], label: str, *arguments: Any, key: str, **options: Any) -> Content:
    """A box of a form whose content lasts while another tab is looked at."""
    return widget(label, *arguments, key=f"desk {key}", persist_state="session", **options)


def lasting_choice(label: str, words: Mapping[Any, str], chosen: Any, key: str, widget: Any = None) -> Any:
    """One of several, shown by its words; `chosen` is what to begin with, the first one where it is none of them."""
    ids = list(words)
    index = ids.index(chosen) if chosen in words else 0
    return lasting(widget or st.selectbox, label, ids, index, format_func=words.__getitem__, key=key)


@dataclass(frozen=True)
class Chosen:
    """The class, and its set if it has one, that the desk is turned to."""

    class_name: str
    practice_set: StoredSet | None
