"""The one error of the class's own."""

from tutor.base.errors import FaultyRequestError


class ClassError(FaultyRequestError, ValueError):
    """What a class does not allow, or what is not there; a sentence that says why and what to do."""
