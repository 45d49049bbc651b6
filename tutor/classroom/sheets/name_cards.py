"""How learners get from paper to the screen: the link, cards with names and codes, the line at the head of a sheet."""

from collections.abc import Iterable, Mapping
from html import escape

from tutor.classroom.models import Member, StoredSet
from tutor.classroom.roster.names import called


def link(practice_set: StoredSet, origin: str) -> str:
    """The address that a learner opens; `origin` is that of the server, as 'http://school.example:8501'."""
    return f"{origin.rstrip('/')}/class-work?set={practice_set.code}"


def screen_note(practice_set: StoredSet, address: str, personal_code: str) -> str:
    """The line at the head of a learner's sheet: how to go on with it on a screen.

    `address` is the link, '' where there is none that leads anywhere; `own` is the personal code.
    """
    where = f"open {address} or type" if address else "type"
    return (
        f"To answer on a screen, {where} the set's code {practice_set.code} on the page Class work. "
        f"Then type your name or number and your personal code {personal_code}."
    )


def name_cards(practice_set: StoredSet, address: str, members: Iterable[Member], codes: Mapping[int, str]) -> str:
    """A page of cards to cut apart: each learner's name, the link if there is one, the set's and the personal code."""
    code = f"ype the set's code <b>{practice_set.code}</b> on the page Class work."
    way_in = f"Open {escape(address)}<br>or t{code}" if address else f"T{code}"
    parts = [
        f"<section><h2><bdi>{escape(called(member))}</bdi></h2><p>{escape(practice_set.declaration.title)}</p>"
        f"<p>{way_in}</p>"
        f"<p>Then type your name or number and your personal code <b>{codes[member.id]}</b>. "
        "Show the code to nobody.</p></section>"
        for member in members
    ]
    style = (
        "body{font:12pt sans-serif}section{border:1px dashed #555;padding:4mm;margin:2mm;break-inside:avoid}"
        "h2{font-size:14pt;margin:0}p{margin:2mm 0;overflow-wrap:anywhere}"
    )
    title = f"Codes: {escape(practice_set.declaration.title)}"
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title>'
        f"<style>{style}</style><h1>{title}</h1>{''.join(parts)}</html>"
    )
