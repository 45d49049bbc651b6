"""What a page says when the store does not answer, and goes on."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from tutor.app import showing
from tutor.errors import FaultyRequestError
from tutor.store.database import StoreError

DOWN = (
    "The database does not answer just now, so what you did last was not kept. Nothing else is lost: all that was "
    "saved before is there, and what you typed stays in its box. Wait a moment and press the button again, or load the "
    "page again."
)
_log = logging.getLogger(__name__)


@contextmanager
def faults_in_words() -> Iterator[None]:
    """Show what goes wrong inside as a sentence; where the store lies and why it fails is for the log alone."""
    try:
        yield
    except StoreError as error:
        _log.warning("%s", error)
        st.error(DOWN, icon="⚠")
    except FaultyRequestError as error:
        st.error(showing.plain(str(error)))
