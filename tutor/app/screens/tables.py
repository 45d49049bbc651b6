import re

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.session import chosen_rulebook, library
from tutor.base.units import conversion, written, written_unit
from tutor.trade.rulebooks import RULEBOOKS, Table, TableError, rulebook

ABOUT = {"edition": "Edition of all rows", "source": "Source of all rows", "standing": "How far they were checked"}
NUMBER = re.compile(r"[-−+]?\d+(?:[.,]\d+)?")


def heading(column: str) -> str:
    """Write a column's name for people: 'coldest_degC' gives 'Coldest (°C)'."""
    words, _, unit = column.rpartition("_")
    return f"{words.replace('_', ' ').capitalize()} ({written_unit(unit)})" if words else column.capitalize()


def number(text: str) -> str:
    return text.replace("-", "−") if NUMBER.fullmatch(text) else text


def common(table: Table) -> dict[str, str]:
    """Return what all rows of a table share of their edition, source and standing."""
    return {heading: table.rows[0][heading] for heading in ABOUT if len({row[heading] for row in table.rows}) == 1}


def shown(table: Table, rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Return rows as people read them, without what is the same in all rows of the table."""
    left_out = {"rulebook", *common(table)}
    return [{heading(column): number(text) for column, text in row.items() if column not in left_out} for row in rows]


def found(table: Table, wanted: str) -> list[dict[str, str]]:
    if not wanted:
        return [dict(row) for row in table.rows]
    if table.kind == "bands" and NUMBER.fullmatch(wanted):
        return band(table, float(wanted.replace("−", "-").replace(",", ".")))
    return [dict(row) for row in table.rows if wanted.casefold() in " ".join(row.values()).casefold()]


def band(table: Table, key: float) -> list[dict[str, str]]:
    try:
        value = table.look_up(conversion(table.key_unit).to_working(key))
    except TableError as outside:
        st.info(f"{written(key, table.key_unit)} is not covered: {outside}.")
        return []
    to_value = conversion(table.value_unit).to_working
    return [dict(row) for row in table.rows if to_value(float(row[table.value])) == value]


def show(table: Table, wanted: str) -> None:
    st.header(table.title, anchor=False)
    rows = shown(table, found(table, wanted))
    if rows:
        show_table(rows)
    else:
        st.markdown("No row of this table fits what you look for.")
    sentences = [f"{ABOUT[heading]}: {text}." for heading, text in common(table).items() if text]
    st.markdown(" ".join(sentences))


st.title("Tables", anchor=False)
st.markdown(
    "The tables that the problems use, each row with its edition, its source and how far it was checked. "
    "No row was read in the standard's official print: before you build, look the value up in the code itself."
)
asked_for = st.query_params.get("rulebook")
st.session_state.setdefault("rulebook", asked_for if asked_for in RULEBOOKS else chosen_rulebook())
chosen = st.radio("Rulebook", list(RULEBOOKS), format_func=RULEBOOKS.__getitem__, key="rulebook")
book = rulebook(chosen, library())
tables = book.tables
st.markdown(
    f"Base edition: {book.edition}. The table *{tables['editions'].title}* lists what differs in others. "
    "Ask your building department which edition it has adopted."
)
names = list(tables)
linked = st.query_params.get("table", "")
place = names.index(linked) if linked in tables else 0
name = st.selectbox("Table", names, place, format_func=lambda id_: tables[id_].title, key=f"table {chosen}")
st.query_params.update({"rulebook": chosen, "table": name})
wanted = st.text_input(
    "Look for a temperature in °C, such as −18, or for a word",
    key="find",
    max_chars=40,
    bind="query-params",
    placeholder="all rows",
).strip()
show(tables[name], wanted)
