"""What all errors have in common that a person's request may meet."""


class FaultyRequestError(Exception):
    """A request that cannot be met; its text is one sentence that says what is wrong and how to mend it.

    Commands print it and exit with 2; pages show it.
    """
