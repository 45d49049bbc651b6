"""The script that Streamlit runs for every page: the look, the learner, the list of pages, the caution below each."""

import streamlit as st

from tutor.app import session
from tutor.app.components import theme
from tutor.app.components.store_down import faults_in_words
from tutor.app.server import renewing
from tutor.app.server.uploads import freed_after_run
from tutor.content.models import FOR_ALL

INVENTED = "All modules, chargers, and places here are invented."
# No `icon=`: for a page's icon the browser would be sent to fetch a picture from outside.
PAGES = [
    st.Page("screens/start.py", title="Start", default=True),
    st.Page("screens/lessons.py", title="Lessons", url_path="lessons"),
    st.Page("screens/practice.py", title="Practice", url_path="practice"),
    st.Page("screens/working.py", title="Check my working", url_path="working"),
    st.Page("screens/class_work.py", title="Class work", url_path="class-work"),
    st.Page("screens/tables.py", title="Tables", url_path="tables"),
    st.Page("screens/progress.py", title="Progress", url_path="progress"),
    st.Page("screens/recognition.py", title="Recognising mistakes", url_path="recognition"),
    st.Page("screens/class_desk.py", title="Class desk", url_path="class-desk"),
]

st.set_page_config(page_icon=theme.ICON, initial_sidebar_state=theme.SIDEBAR)
page = st.navigation(PAGES)
st.set_page_config(page_title=f"{page.title} · Cold Morning")
theme.apply()
session.begin()
if session.is_superseded():
    renewing.tell_superseded()
    st.stop()
session.rulebook_choice()
with freed_after_run(), faults_in_words(again=True):
    page.run()
st.divider()
st.markdown(f"{session.library().hazards[FOR_ALL].text} {INVENTED}")
