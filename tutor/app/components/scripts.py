"""The scripts of pages: files in `static`, each sent from an address of its own."""

from pathlib import Path

import streamlit as st
from starlette.requests import Request
from starlette.responses import FileResponse
from starlette.routing import Route

STATIC = Path(__file__).parents[1] / "static"
_ADDRESS = "/coldmorning/{name}.js"


def show(name: str) -> None:
    """Put a script on the page."""
    with st.container(key=f"{name}-script"):
        st.html(f'<script src="{_ADDRESS.format(name=name)}"></script>', unsafe_allow_javascript=True)


def _route(name: str) -> Route:
    async def send(_request: Request) -> FileResponse:
        headers = {"cache-control": "max-age=86400"}
        return FileResponse(STATIC / f"{name}.js", media_type="text/javascript", headers=headers)

    return Route(_ADDRESS.format(name=name), send)


ROUTES = [_route("keys"), _route("class-work")]
