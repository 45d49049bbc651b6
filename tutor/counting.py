"""How many of something, in words that agree with the number."""


def counted(number: int, one: str, more: str = "") -> str:
    """'1 learner', '3 learners'; `more` where the plural is no plain 's', as in ('line has', 'lines have')."""
    return f"{number} {one if number == 1 else more or f'{one}s'}"
