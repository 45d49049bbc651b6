"""What a page says when the store does not answer, and goes on."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from tutor.app.components import showing
from tutor.app.config import STORE_FAILED
from tutor.base.errors import FaultyRequestError
from tutor.store.database import StoreError

_log = logging.getLogger(__name__)


@contextmanager
def faults_in_words(*, again: bool = False) -> Iterator[None]:
    """Show what goes wrong inside as a sentence; where the store lies and why it fails is for the log alone.

    With `again` a button goes on where nothing else of the page is there to press.
    """
    try:
        yield
    except StoreError as error:
        _log.warning("%s", error)
        st.error(error.page or STORE_FAILED, icon="⚠")
        if again:
            st.button("Try again", type="primary")
    except FaultyRequestError as error:
        st.error(showing.plain(str(error)))
