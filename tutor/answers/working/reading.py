"""Reading a line of working: its statements, each with a label and sides, whatever words stand around them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from lark import Token

from tutor.answers.working.expression import Expression, Leaf, Number, Symbol, UnreadError, parsed
from tutor.answers.working.phrases import PHRASES, pattern, replacements
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
_BULLET, _COMMENT, _JOINT = pattern("bullet"), pattern("comment"), pattern("joint")
_REWRITTEN = replacements("rewritten")
_BY_AN_OPERATOR = re.compile(rf"[*/^]|\+ ?(?=[\d(.])|x(?= ?[\d(.,])|- (?={_CONTINUED})", re.IGNORECASE)
_COMMON_WORDS = frozenset(PHRASES["common_words"].split())
_ROUND_BRACKETS = str.maketrans("[]", "()")
_ARROW = re.compile(r"=>|->|→|⇒|∴")
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
        pairs = zip(self.sides, (*self.signs, ""), strict=True)
        text = " ".join(part for side, sign in pairs for part in (side.text if side else "…", sign)).strip()
        return f"{self.label}: {text}" if self.label else text

    @property
    def unlabelled(self) -> "Statement":
        """The same without what names a quantity."""
        return replace(self, names=(), label="")


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
    stripped = _COMMENT.sub("", _BULLET.sub("", _ARROW.sub(" ; ", text.strip())))
    try:
        return " ".join(plain_text(word) for word in stripped.split()).translate(_ROUND_BRACKETS)
    except EntryError as error:
        raise UnreadError(str(error)) from None


def read_line(plain: str, reader: Reader) -> list[Statement]:
    """The statements of a line in plain signs, those without a number or calculation left out.

    Raises UnreadError, with a sentence, if none is left, or if the line goes on from the one before it.
    """
    if _BY_AN_OPERATOR.match(plain):
        raise UnreadError(GOES_ON)
    if statements := [statement for part in _clauses(plain) if (statement := _statement(part, reader)) is not None]:
        return statements
    if re.search(r"\d", plain):
        raise UnreadError(UNREADABLE)
    raise UnreadError("No number was found in this line; it is taken as a remark.")


def _clauses(plain: str) -> list[str]:
    """The line cut where one statement ends and the next begins, outside brackets."""
    for phrase, sign in _REWRITTEN:
        plain = phrase.sub(sign, plain)
    clauses, start = [], 0
    for joint in _JOINT.finditer(plain):
        before = plain[: joint.start()]
        names_only = not re.search(r"\d", before[start:]) and before[start:].strip()
        if before.count("(") <= before.count(")") and not names_only:
            clauses.append(before[start:])
            start = joint.end()
    return [clause.strip(" =") for clause in (*clauses, plain[start:]) if clause.strip(" =.,:")]


def _statement(text: str, reader: Reader) -> Statement | None:
    label, calculation = _labelled(text)
    texts = [part.strip() for part in _RELATION.split(calculation)]
    signs = _RELATION.findall(calculation)
    sides: list[Expression | None] = []
    for place, part in enumerate(texts):
        side, name = _side(part, reader, first=place == 0, only=len(texts) == 1)
        if side is None and place == 0 and len(texts) > 1:
            label = f"{label} {name or part}".strip()
            signs = signs[1:]
            continue
        label = label or name
        sides.append(side)
    if not any(sides):
        return None
    names = reader.symbols.named(label)
    exact = bool(names)
    names = names or reader.symbols.named_within(label)
    remarks = " ".join(["" if names else label, *(side.remarks for side in sides if side is not None)])
    return Statement(text, label, names, exact, tuple(sides), tuple(signs), _unknown_word(remarks, reader))


def _unknown_word(words: str, reader: Reader) -> str:
    """The first of some words that neither names a quantity nor is a common one in a working; letters are symbols."""
    strange = (word for word in words.split() if len(word) > 1 and word.casefold() not in _COMMON_WORDS)
    return next((word for word in strange if not reader.symbols.named(word)), "")


def _labelled(text: str) -> tuple[str, str]:
    """The words before a colon, and what is behind it; a colon between two numbers divides."""
    label, colon, behind = text.partition(":")
    if not colon:
        negative = _NEGATIVE.match(text)
        return (negative[1], negative[2]) if negative else ("", text)
    before = _RELATION.split(label)[-1].lstrip()
    divides = label.endswith(" ") and behind.startswith(" ") and re.match(r"[(\d.,-]", before)
    parted = not label.endswith(" ") and behind.startswith(" ")
    if divides or not (parted or re.search(r"[^\W\d]", label)):
        return "", f"{label}/{behind}"
    return label.strip(), behind.strip()


def _side(text: str, reader: Reader, *, first: bool, only: bool) -> tuple[Expression | None, str]:
    """The calculation in a side and the words that name it; None if there is none."""
    pieces = _without_remarks(reader.pieces(text), factor=first and not only)
    name, pieces = _without_leading_words(pieces, first=first, only=only)
    pieces, behind = _until_words(pieces)
    if behind.split(" ")[0].casefold() not in BEFORE_A_CONDITION:
        name = name or behind
    kinds = {piece.kind for piece in pieces}
    if not kinds & {"NUMBER", "SYMBOL"}:
        return None, name or text
    if first and not only and kinds <= {"SYMBOL", "WORD"}:
        return None, text
    side = parsed(*_tokens(pieces), text)
    if side is not None and only and "NUMBER" not in kinds:
        return None, name or text
    return (side and replace(side, remarks=behind)), name


def _without_remarks(pieces: list[Piece], *, factor: bool) -> list[Piece]:
    """The pieces without brackets that hold only words, or the name of the number before them, or a remark on it.

    `factor` says that a number with a unit in brackets, as in '25 A (0.1 Ω)', multiplies the one before it.
    """
    remaining: list[Piece] = []
    position = 0
    while position < len(pieces):
        if pieces[position].kind == "LPAR" and (
            end := _end_of_remark(pieces, position, remaining[-1] if remaining else None, factor=factor)
        ):
            position = end
            continue
        remaining.append(pieces[position])
        position += 1
    return remaining


def _end_of_remark(pieces: Sequence[Piece], start: int, before: Piece | None, *, factor: bool) -> int:
    """Where a bracket ends that only says more about the piece before it; 0 if it is more than that."""
    end = next((place for place in range(start + 1, len(pieces)) if pieces[place].kind == "RPAR"), 0)
    inside = pieces[start + 1 : end]
    kinds = {piece.kind for piece in inside}
    if not kinds:
        return 0
    if kinds == {"WORD"} or (kinds <= {"WORD", "SYMBOL"} and before is not None and before.kind in OPERANDS):
        return end + 1
    measured = before is not None and _is_measured(before)
    if not measured and (before is None or before.kind not in ("WORD", "SYMBOL")):
        return 0
    repeated = measured and not factor and len(inside) == 1 and _is_measured(inside[0])
    calculates = kinds & {*OPERATORS, "LPAR"}
    return end + 1 if not calculates and ("WORD" in kinds or repeated) else 0


def _is_measured(piece: Piece) -> bool:
    """Whether a piece is a number with a unit that is no share."""
    return isinstance(piece.leaf, Number) and piece.leaf.unit not in (None, "%")


def _without_leading_words(pieces: list[Piece], *, first: bool, only: bool) -> tuple[str, list[Piece]]:
    """The words before a calculation, which may name what it gives, and the calculation."""
    words: list[str] = []
    position = 0
    while position < len(pieces):
        piece = pieces[position]
        following = pieces[position + 1].kind if position + 1 < len(pieces) else ""
        condition = _condition(pieces, position) if first else 0
        if condition and (position + condition < len(pieces) or not only):
            position += condition
            continue
        is_word = piece.kind == "WORD" and (following not in OPERATORS or (not words and len(piece.text) > 3))
        if not is_word and not (piece.kind == "SYMBOL" and following in ("NUMBER", "WORD", "SYMBOL", "FUNCTION")):
            break
        words.append(piece.text)
        position += 1
    return " ".join(words), pieces[position:]


def _condition(pieces: Sequence[Piece], start: int) -> int:
    """The number of pieces that 'at −24 °C' takes, if that is what stands here."""
    if pieces[start].text.casefold() not in BEFORE_A_CONDITION:
        return 0
    end = start + 1
    while end < len(pieces) and pieces[end].kind in ("WORD", "PLUS", "MINUS"):
        end += 1
    if end < len(pieces) and pieces[end].kind in ("NUMBER", "SYMBOL"):
        following = pieces[end + 1].kind if end + 1 < len(pieces) else ""
        if following in ("", "WORD", *OPERATORS, "RPAR", "SYMBOL"):
            return end + 1 - start
    return 0


def _until_words(pieces: list[Piece]) -> tuple[list[Piece], str]:
    """The calculation up to the words behind it; words within that only name a number are left out."""
    calculation: list[Piece] = []
    behind: list[str] = []
    position = 0
    while position < len(pieces):
        piece = pieces[position]
        length = 1
        if not calculation or calculation[-1].kind not in OPERANDS:
            calculation.append(piece)
        elif piece.kind == "WORD":
            length = _condition(pieces, position) or 1
            behind += [part.text for part in pieces[position : position + length]]
        elif piece.kind == "SYMBOL" and not _is_factor(calculation[-1], piece):
            behind.append(piece.text)
        elif piece.kind == "NUMBER":
            break
        else:
            calculation.append(piece)
        position += length
    while calculation and calculation[-1].kind in OPERATORS:
        calculation.pop()
    return calculation, " ".join(behind)


def _is_factor(before: Piece, symbol: Piece) -> bool:
    """Whether a symbol right behind an operand multiplies it, as in '2 L', and does not name it."""
    short = " " not in symbol.text and len(symbol.text) <= 4
    return short and not (isinstance(before.leaf, Number) and before.kind == "NUMBER" and before.leaf.unit is not None)


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
