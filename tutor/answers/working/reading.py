"""Reading a line of working: its statements, each with a label and sides, whatever words stand around them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lark import Token

from tutor.answers.working.expression import Expression, Leaf, Number, Symbol, UnreadError, parsed
from tutor.answers.working.tokens import BEFORE_A_CONDITION, OPERANDS, OPERATORS, Piece, Reader
from tutor.entries.entry import EntryError, plain_text

LONGEST_LINE = 200
UNREADABLE = (
    "This line could not be read, so nothing in it is held against you: write a calculation and its result, such as "
    "450 / 46.8 = 9.6."
)
GOES_ON = (
    "This line begins with an operator, so it could not be read, and nothing in it is held against you: write the "
    "whole calculation in one line, such as 26.91 x 1.25 = 33.64."
)
MOST_LINES = 60
COMPARED = frozenset({"<", ">", "≤", "≥"})

_CONTINUED = r"\d[\d.,]* ?(?:%|[A-Za-zΩ]{1,3})? ?="
_BULLET = re.compile(
    rf"^(?:[-•>*]\s+(?!{_CONTINUED})|"
    r"\(?\d{1,2}[.)]\s+|\(?[a-hA-H]\)\s+|(?:step|line)\s*\d+\s*[:.)-]?\s*)",
    re.IGNORECASE,
)
_COMMENT = re.compile(r"\s*(?:#(?!\d)|//|<-|←|\bbecause\b|\bsince\b).*$", re.IGNORECASE)
_REWRITTEN = tuple(
    (re.compile(pattern, re.IGNORECASE), new)
    for pattern, new in (
        (r"\b(\d+ [a-z]+(?: in series)?) (?:would |will )?(?:gives?|makes?|comes? to) (?=[\d(])", r"with \1: "),
        (r"(?:/| per ) ?1[ ,]?000 ?(?:ft|feet)\b", "/kft"),
        (r"\bdivid(?:e|ed|ing) ([^ ]+(?: [A-Za-z°%]+)?) by ", r"\1 / "),
        (r"\bmultipl(?:y|ied|ying) ([^ ]+(?: [A-Za-z°%]+)?) by ", r"\1 * "),
        (r" ?\b(?:divided by|over)\b (?=[\d(])", " / "),
        (r" ?\b(?:times|multiplied by)\b (?=[\d(A-Za-z])", " * "),
        (r" ?\bplus\b (?:[a-z]+ ){0,2}(?=[\d(])| ?\bplus\b (?=[A-Za-z])", " + "),
        (r" ?\bminus\b (?=[\d(A-Za-z])", " - "),
        (r"(?<=[A-Za-z]) \((\d[\d.,]* ?%)\)$", r" ; \1"),
        (r"\b(\d+) ?/ ?60 ?(h|hours?|hrs?|min)\b", r"(\1/60) \2"),
        (r"(?<=[\d)A-Za-z])( ?= ?\d[\d.,]* ?(?:%|per ?cent)) of [^=]*$", r"\1"),
        (r"(?:%|per ?cent) of (?:the )?(?=[\d(A-Za-z])", "% * "),
        (r" ?\bsquared\b", "^2"),
        (r"\bhalf of (?=[\d(])", "0.5 * "),
        (r"~=|≃|≅|≈|\bapproximately equals\b", "="),
        (r"=(?: ?=)+", "="),
        (r"<=|=<", "≤"),
        (r">=", "≥"),
        (r"\b(?:less|smaller|lower) than(?: or equal to)?\b|\bis (?:below|under)\b", "<"),
        (r"\b(?:more|greater|larger|higher) than(?: or equal to)?\b|\bis (?:above|over)\b|\bexceeds\b", ">"),
        (r"\b(?:which )?(?:equals|gives|makes|comes to|is equal to|will be|becomes|is about|is|are|was)\b", "="),
    )
)
_BY_AN_OPERATOR = re.compile(rf"[*/^]|\+ ?(?=[\d(.])|x(?= ?[\d(.,])|- (?={_CONTINUED})", re.IGNORECASE)
_KNOWN_WORDS = (
    "a about ac all amp amperes amps an and ans answer approx as at back be below breaker by charger check cold "
    "copper current dc down drop each fails few for from fuse get good got hence hot i in is it label load lowest "
    "make makes max maximum min minimum modules most need needed next no now of ok on one or out over panel panels "
    "pick power result round rounded rounding rounds says see series size so step string strings table that the "
    "then there therefore thus to total trip under up use used using voltage volts watts way we which wire wires "
    "with worst x yes"
)
_ROUND_BRACKETS = str.maketrans("[]", "()")
_ARROW = re.compile(r"=>|->|→|⇒|∴")
_ROUNDED = re.compile(
    r"\b(?:and )?round(?:ed|ing|s)?(?: it| off)?(?: (?:down|up|off))?(?: to)?\b(?! ?[()]) ?:?", re.IGNORECASE
)
_JOINT = re.compile(
    r";|,(?= )|\.(?= |$)|\b(?:so|therefore|thus|hence|then|and|but|i\.e\.|use|choose|take)\b", re.IGNORECASE
)
_NEGATIVE = re.compile(r"([^\W\d][^\d=<>≤≥+*/()]*) (-\d[\d.,]* ?[^\d\s]*)$")
_RELATION = re.compile(r"[=<>≤≥]")
_DECIMAL_COMMA = re.compile(r"\d,(?:\d{1,2}|\d{4,})(?!\d)")
_DECIMAL_POINT = re.compile(r"\d\.\d")
_COMMA = re.compile(r"(?<![\d.,])\d{1,3},\d{3}(?!\d|[.,]\d)")


@dataclass(frozen=True)
class Statement:
    """One assertion: the label with the quantities that it may name, and sides joined by signs (None: not read).

    `unknown` is the first word of it that the reader does not know.
    """

    text: str
    label: str
    names: tuple[str, ...]
    exact: bool
    sides: tuple[Expression | None, ...]
    signs: tuple[str, ...]
    unknown: str = ""

    @property
    def understood(self) -> str:
        """What was read, as it is shown back."""
        told = " ".join(
            part
            for side, sign in zip(self.sides, (*self.signs, ""), strict=True)
            for part in (side.text if side else "…", sign)
        ).strip()
        return f"{self.label}: {told}" if self.label else told


def comma_readings(text: str) -> tuple[bool, ...]:
    """The ways in which the commas of a working may be meant: parting thousands (False), or decimals (True)."""
    if not _COMMA.search(text):
        return (False,)
    commas, points = _DECIMAL_COMMA.search(text), _DECIMAL_POINT.search(text)
    return (False, True) if bool(commas) == bool(points) else (commas is not None,)


def plain_line(text: str) -> str:
    """A line in plain signs, without its bullet and its remarks.

    Raises UnreadError if it is too long or holds what cannot be read at all.
    """
    if len(text) > LONGEST_LINE:
        raise UnreadError(f"The line is longer than {LONGEST_LINE} characters: write it in several.")
    kept = _COMMENT.sub("", _BULLET.sub("", _ARROW.sub(" ; ", text.strip())))
    try:
        return " ".join(plain_text(word) for word in kept.split()).translate(_ROUND_BRACKETS)
    except EntryError as error:
        raise UnreadError(str(error)) from None


def read_line(plain: str, reader: Reader) -> list[Statement]:
    """The statements of a line in plain signs, those without a number or calculation left out.

    Raises UnreadError, with a sentence, if none is left, or if the line goes on from the one before it.
    """
    if _BY_AN_OPERATOR.match(plain):
        raise UnreadError(GOES_ON)
    found = [statement for part in _joints(plain) if (statement := _statement(part, reader)) is not None]
    if found:
        return found
    if re.search(r"\d", plain):
        raise UnreadError(UNREADABLE)
    raise UnreadError("No number was found in this line; it is taken as a remark.")


def _joints(plain: str) -> list[str]:
    """The line cut where one statement ends and the next begins, outside brackets."""
    for pattern, new in _REWRITTEN:
        plain = pattern.sub(new, plain)
    plain = _ROUNDED.sub(" ; ", plain)
    parts, start = [], 0
    for joint in _JOINT.finditer(plain):
        before = plain[: joint.start()]
        names_only = not re.search(r"\d", plain[start : joint.start()]) and plain[start : joint.start()].strip()
        if before.count("(") <= before.count(")") and not names_only:
            parts.append(plain[start : joint.start()])
            start = joint.end()
    return [part.strip(" =") for part in (*parts, plain[start:]) if part.strip(" =.,:")]


def _statement(text: str, reader: Reader) -> Statement | None:
    label, rest = _labelled(text)
    texts = [part.strip() for part in _RELATION.split(rest)]
    signs = _RELATION.findall(rest)
    sides: list[Expression | None] = []
    for at, part in enumerate(texts):
        side, said = _side(part, reader, first=at == 0, only=len(texts) == 1)
        if side is None and at == 0 and len(texts) > 1:
            label = f"{label} {said or part}".strip()
            signs = signs[1:]
            continue
        label = label or said
        sides.append(side)
    if not any(sides):
        return None
    names = reader.symbols.named(label)
    exact = bool(names)
    names = names or reader.symbols.named_within(label)
    said = "" if names else label
    remarks = " ".join([said, *(side.remarks for side in sides if side is not None)])
    return Statement(text, label, names, exact, tuple(sides), tuple(signs), _unknown_word(remarks, reader))


def _unknown_word(words: str, reader: Reader) -> str:
    """The first of some words that neither names a quantity nor is a common one in a working; letters are symbols."""
    strange = (word for word in words.split() if len(word) > 1 and word.casefold() not in _KNOWN_WORDS.split())
    return next((word for word in strange if not reader.symbols.named(word)), "")


def _labelled(text: str) -> tuple[str, str]:
    """The words before a colon, and the rest; a colon between two numbers divides."""
    label, colon, rest = text.partition(":")
    if not colon:
        named = _NEGATIVE.match(text)
        return (named[1], named[2]) if named else ("", text)
    before = _RELATION.split(label)[-1].lstrip()
    divides = label.endswith(" ") and rest.startswith(" ") and re.match(r"[(\d.,-]", before)
    parted = not label.endswith(" ") and rest.startswith(" ")
    if divides or not (parted or re.search(r"[^\W\d]", label)):
        return "", f"{label}/{rest}"
    return label.strip(), rest.strip()


def _side(text: str, reader: Reader, *, first: bool, only: bool) -> tuple[Expression | None, str]:
    """The calculation in a side and the words that name it; None if there is none."""
    pieces = _without_remarks(reader.pieces(text), factor=first and not only)
    said, pieces = _without_leading_words(pieces, first=first, only=only)
    pieces, behind = _until_words(pieces)
    if behind.split(" ")[0].casefold() not in BEFORE_A_CONDITION:
        said = said or behind
    if not any(piece.kind in ("NUMBER", "SYMBOL") for piece in pieces):
        return None, said or text
    if first and not only and all(piece.kind in ("SYMBOL", "WORD") for piece in pieces):
        return None, text
    tokens, leaves = _tokens(pieces)
    side = parsed(tokens, leaves, text)
    side = replace(side, remarks=behind) if side is not None else None
    if side is not None and not any(piece.kind == "NUMBER" for piece in pieces) and only:
        return None, said or text
    return side, said


def _without_remarks(pieces: list[Piece], *, factor: bool) -> list[Piece]:
    """The pieces without brackets that hold only words, or the name of the number before them, or a remark on it.

    `factor` says that a number with a unit in brackets, as in '25 A (0.1 Ω)', multiplies the one before it.
    """
    kept: list[Piece] = []
    at = 0
    while at < len(pieces):
        if pieces[at].kind == "LPAR":
            end = at + 1
            while end < len(pieces) and pieces[end].kind in ("WORD", "SYMBOL"):
                end += 1
            inside = pieces[at + 1 : end]
            closed = end < len(pieces) and pieces[end].kind == "RPAR" and bool(inside)
            names_it = bool(kept) and kept[-1].kind in OPERANDS
            if closed and (names_it or all(piece.kind == "WORD" for piece in inside)):
                at = end + 1
                continue
            measured = bool(kept) and _is_measured(kept[-1])
            told = measured or (bool(kept) and kept[-1].kind in ("WORD", "SYMBOL"))
            if told and (end := _remark_end(pieces, at, factor=factor or not measured)):
                at = end
                continue
        kept.append(pieces[at])
        at += 1
    return kept


def _remark_end(pieces: Sequence[Piece], at: int, *, factor: bool) -> int:
    """Where a bracket ends that only says more about the number before it; 0 if it is more than that."""
    end = next((place for place in range(at + 1, len(pieces)) if pieces[place].kind == "RPAR"), 0)
    inside = pieces[at + 1 : end]
    words = any(piece.kind == "WORD" for piece in inside)
    calculates = any(piece.kind in OPERATORS or piece.kind == "LPAR" for piece in inside)
    told_again = len(inside) == 1 and _is_measured(inside[0]) and not factor
    return end + 1 if inside and not calculates and (words or told_again) else 0


def _is_measured(piece: Piece) -> bool:
    """Whether a piece is a number with a unit that is no share."""
    return isinstance(piece.leaf, Number) and piece.leaf.unit not in (None, "%")


def _without_leading_words(pieces: list[Piece], *, first: bool, only: bool) -> tuple[str, list[Piece]]:
    """The words before a calculation, which may name what it gives, and the calculation."""
    words: list[str] = []
    at = 0
    while at < len(pieces):
        piece = pieces[at]
        following = pieces[at + 1].kind if at + 1 < len(pieces) else ""
        condition = _condition(pieces, at) if first and piece.text.casefold() in BEFORE_A_CONDITION else 0
        if condition and (at + condition < len(pieces) or not only):
            at += condition
            continue
        if (piece.kind == "WORD" and (following not in OPERATORS or (not words and _is_remark(piece)))) or (
            piece.kind == "SYMBOL" and following in ("NUMBER", "WORD", "SYMBOL", "FUNCTION")
        ):
            words.append(piece.text)
        else:
            break
        at += 1
    return " ".join(words), pieces[at:]


def _is_remark(piece: Piece) -> bool:
    return len(piece.text) > 3


def _condition(pieces: Sequence[Piece], at: int) -> int:
    """The number of pieces that 'at −24 °C' takes, if that is what stands here."""
    end = at + 1
    while end < len(pieces) and pieces[end].kind in ("WORD", "PLUS", "MINUS"):
        end += 1
    if end < len(pieces) and pieces[end].kind in ("NUMBER", "SYMBOL"):
        follows = pieces[end + 1].kind if end + 1 < len(pieces) else ""
        if follows in ("", "WORD", *OPERATORS, "RPAR", "SYMBOL"):
            return end + 1 - at
    return 0


def _until_words(pieces: list[Piece]) -> tuple[list[Piece], str]:
    """The calculation up to the words behind it; words within that only name a number are left out."""
    kept: list[Piece] = []
    behind: list[str] = []
    at = 0
    while at < len(pieces):
        piece = pieces[at]
        after_operand = bool(kept) and kept[-1].kind in OPERANDS
        if piece.kind == "WORD" and after_operand:
            if piece.text.casefold() in BEFORE_A_CONDITION and (length := _condition(pieces, at)):
                behind += [one.text for one in pieces[at : at + length]]
                at += length
                continue
            behind.append(piece.text)
        elif piece.kind == "SYMBOL" and after_operand and not _is_factor(kept[-1], piece):
            behind.append(piece.text)
        elif piece.kind == "NUMBER" and after_operand:
            break
        else:
            kept.append(piece)
        at += 1
    while kept and kept[-1].kind in OPERATORS:
        kept.pop()
    return kept, " ".join(behind)


def _is_factor(before: Piece, symbol: Piece) -> bool:
    """Whether a symbol right behind an operand multiplies it, as in '2 L', and does not name it."""
    short = " " not in symbol.text and len(symbol.text) <= 4
    if before.kind == "NUMBER":
        return short and before.leaf is not None and getattr(before.leaf, "unit", None) is None
    return short


def _tokens(pieces: Sequence[Piece]) -> tuple[list[Token], list[Leaf]]:
    tokens: list[Token] = []
    leaves: list[Leaf] = []
    for piece in pieces:
        leaf = Symbol((), piece.text) if piece.kind == "WORD" else piece.leaf
        if leaf is None:
            tokens.append(Token(piece.kind, piece.text))
            continue
        tokens.append(Token("SYMBOL" if piece.kind == "WORD" else piece.kind, str(len(leaves))))
        leaves.append(leaf)
    return tokens, leaves
