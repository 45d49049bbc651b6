"""Overcurrent devices: their standard ratings, what they must carry, and what they must protect.

Working units throughout: amperes, volts, ohms; a conductor's size is its cross-section in square metres.  Where the
rulebooks differ, the figures differ, not the formulas: see the table `rule_numbers` for each one's edition, source and
standing.  For learning only: the code adopted where you live and a licensed electrician decide.
"""

from tutor.trade.conductors import Laid, carries, usable_ampacity
from tutor.trade.rulebooks import Rulebook, Size, TableError

_REPRESENTATION = 1e-9  # so much a computed current may miss a standard rating by binary rounding


def smallest_device(book: Rulebook, continuous: float, other: float = 0.0, ratings: str = "standard_ratings") -> float:
    """Choose the first standard rating (A) at or above k_c·I_continuous + I_other.

    k_c is 1.25 in the United States (1.00 for assemblies listed for it) and 1 in IEC.
    Source: NFPA 70-2017 210.20(A), 690.9(B), third-party transcription; IEC 60364-4-43, quoted on engineering pages.
    Raises TableError above the largest rating.
    """
    return book.tables[ratings].first_at_least(book.number("continuous_factor") * continuous + other)


def rating_allowed(
    book: Rulebook, ampacity: float, next_size_up: bool = True, ratings: str = "standard_ratings"
) -> float:
    """The rating (A) that a conductor's usable ampacity (A) allows at the most, not yet brought to a standard one.

    United States: the next standard rating up, to 800 A, unless `next_size_up` is ruled out as it is for a branch
    circuit with several receptacles.  IEC: the ampacity.
    Source: NFPA 70-2017 240.4(B), third-party transcription; IEC 60364-4-43, quoted on engineering pages.
    """
    try:
        above = book.tables[ratings].first_at_least(ampacity)
    except TableError:
        return ampacity
    return above if next_size_up and above <= book.number("next_size_up_limit") else ampacity


def tripping_current(book: Rulebook, rating: float) -> float | None:
    """The current (A) that surely opens a general-purpose (gG) fuse in its conventional time; None in the US book.

    Source: IEC 60269-1: 1.6·I_n from 16 A on, 1.9·I_n below (a design program's help page); to 4 A, from memory.
    """
    table = book.tables.get("tripping_factor")
    return None if table is None else table.look_up(rating) * rating


def protects(
    book: Rulebook,
    size: float | None,
    ampacity: float,
    device: float,
    next_size_up: bool = True,
    ratings: str = "standard_ratings",
) -> bool:
    """Whether a device (A) is small enough for a copper conductor of a size (m²) and a usable ampacity (A).

    United States: I_n ≤ rating_allowed, and small conductors keep their limit.  IEC: I_n ≤ I_z, and for gG fuses
    I_2 ≤ 1.45·I_z too, which a breaker to IEC 60898 keeps by itself.  A size of None is one without a limit of its own.
    Source: NFPA 70-2017 240.4(B) and (D), third-party transcription; IEC 60364-4-43, quoted on engineering pages.
    """
    slack = 1 + _REPRESENTATION
    limit = None if size is None else small_conductor_limit(book, size)
    if limit is not None and device > limit * slack:
        return False
    trips = tripping_current(book, device) if ratings == "fuse_ratings" else None
    if trips is not None and trips > book.number("overload_factor") * ampacity * slack:
        return False
    return device <= rating_allowed(book, ampacity, next_size_up, ratings) * slack


def largest_device(
    book: Rulebook, size: float | None, ampacity: float, next_size_up: bool = True, ratings: str = "standard_ratings"
) -> float:
    """Choose the largest standard rating (A) that may protect a size (m²) with a usable ampacity (A).

    Source: as protects.  Raises TableError if the smallest rating is already too large.
    """
    listed = book.tables[ratings].sizes
    fitting = [rating for rating in listed if protects(book, size, ampacity, rating, next_size_up, ratings)]
    if not fitting:
        raise TableError(f"the smallest standard rating, {listed[0]:g} A, is too large for this conductor")
    return fitting[-1]


def small_conductor_limit(book: Rulebook, size: float, table: str = "small_conductor_limit") -> float | None:
    """The largest device (A) for a small conductor, whatever its ampacity; None for a size, or a rulebook, without.

    Source: NFPA 70-2017 240.4(D), third-party transcription.
    """
    try:
        return book.tables[table].look_up(size) if table in book.tables else None
    except TableError:
        return None


def conductor_and_device(
    book: Rulebook,
    laid: Laid,
    continuous: float,
    other: float = 0.0,
    next_size_up: bool = True,
    ratings: str = "standard_ratings",
    device: float | None = None,
) -> tuple[Size, float]:
    """Choose the device (A) that the currents (A) need, then the smallest copper size that it may protect as it lies.

    A `device` that is already there, larger than the load needs, takes the place of the first one that suits.
    Source: as carries, smallest_device and protects.  Raises TableError if no size does.
    """
    device = smallest_device(book, continuous, other, ratings) if device is None else device
    listed = book.tables[laid.ampacity].listed("size")
    for area in listed:
        ampacity = usable_ampacity(book, area, laid)
        carried = carries(book, area, laid, continuous, other)
        if carried and protects(book, area, ampacity, device, next_size_up, ratings):
            return book.size_of(area), device
    raise TableError(f"no size carries this load; the largest in the table is {book.size_of(listed[-1]).name}")


def fault_current(voltage: float, loop_resistance: float) -> float:
    """The current (A) into a dead short: U/R, with the source's and the loop's resistance (Ω).  Source: Ohm's law."""
    return voltage / loop_resistance
