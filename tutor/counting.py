"""How many of something, in words that agree with the number."""


def counted(number: int, singular: str, plural: str = "") -> str:
    """'1 learner', '3 learners'; `plural` where the plural is no plain 's', as in ('line has', 'lines have')."""
    return f"{number} {singular if number == 1 else plural or f'{singular}s'}"
