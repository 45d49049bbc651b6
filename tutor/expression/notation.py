"""Writing relations for people: in symbols, in numbers with units, in plain names and in spoken words."""

from collections.abc import Callable
from dataclasses import dataclass, field

from tutor.base.units import written_unit
from tutor.expression.tree import Call, Comparison, Literal, Name, Negative, Node, Operation, Power, Rule

Leaf = Callable[[Name | Literal], str]

_BINDS = {"+": 1, "-": 1, "*": 2, "/": 2}

PLAIN_FUNCTIONS = {
    "round_down": "round down",
    "round_up": "round up",
    "round_nearest": "round to nearest",
    "least": "least of",
    "greatest": "greatest of",
    "look_up": "table value",
    "first_at_least": "first standard size not below",
    "last_at_most": "last standard size not above",
    "next_below": "next standard size below",
    "first_size": "smallest conductor that carries",
    "first_size_above": "smallest conductor that carries more than",
    "first_size_at_most": "smallest conductor with at most",
    "row_before": "table value one row before",
    "row_after": "table value one row after",
    "size_before": "the size before",
    "size_after": "the size after",
    "sqrt": "square root of",
    "trace": "follow the day",
}

_LATEX_FUNCTIONS = {name: rf"\text{{{words}}}" for name, words in PLAIN_FUNCTIONS.items()} | {
    "least": r"\min",
    "greatest": r"\max",
    "sqrt": r"\sqrt",
}

# A call in speech. {bare} is its one argument, {first} the first one with brackets where it needs them, {all} all of
# them, {for_rest} what the others are for, {table} the table that it reads.
_SPOKEN_CALLS = {
    "round_down": "{bare}, rounded down",
    "round_up": "{bare}, rounded up",
    "round_nearest": "{bare}, rounded to the nearest whole number",
    "least": "the least of {all}",
    "greatest": "the greatest of {all}",
    "look_up": "the {table} for {all}",
    "first_at_least": "the first of the {table} that is not below {first}",
    "last_at_most": "the last of the {table} that is not above {first}",
    "next_below": "the next of the {table} below {first}",
    "first_size": "the smallest conductor whose {table}{for_rest} is at least {first}",
    "first_size_above": "the smallest conductor whose {table}{for_rest} is more than {first}",
    "first_size_at_most": "the smallest conductor whose {table}{for_rest} is at most {first}",
    "sqrt": "the square root of {first}",
}


def _binding(node: Node) -> int:
    match node:
        case Comparison():
            return 0
        case Operation(sign, _, _):
            return _BINDS[sign]
        case Negative():
            return 1
        case Power():
            return 3
        case _:
            return 4


@dataclass(frozen=True)
class Notation:
    """One way of writing: the signs between terms, the function names, and whether a quotient is set as a fraction.

    `calls` has a pattern for each function that is not written as its name with arguments in brackets.
    """

    signs: dict[str, str]
    functions: dict[str, str]
    brackets: tuple[str, str] = ("(", ")")
    fractions: bool = False
    power: str = "{base}^{exponent}"
    calls: dict[str, str] = field(default_factory=dict)

    def write(self, node: Node, leaf: Leaf) -> str:
        """Write a relation, its names and literals as `leaf` gives them."""
        match node:
            case Name() | Literal():
                return leaf(node)
            case Operation("/", left, right) if self.fractions:
                return rf"\frac{{{self.write(left, leaf)}}}{{{self.write(right, leaf)}}}"
            case Operation(sign, left, right):
                first = self._inside(left, leaf, _BINDS[sign], negative_bare=sign in "+-")
                return f"{first}{self.signs[sign]}{self._inside(right, leaf, _BINDS[sign] + (sign in '-/'))}"
            case Negative(operand):
                return f"{self.signs['negative']}{self._inside(operand, leaf, 2)}"
            case Power(base, exponent):
                return self.power.format(base=self._inside(base, leaf, 4), exponent=exponent)
            case Rule(figure):
                return figure
            case Comparison(sign, left, right):
                return f"{self.write(left, leaf)}{self.signs[sign]}{self.write(right, leaf)}"
            case Call("trace"):
                return self.functions["trace"]
            case Call(function) if function in self.calls:
                return self._call_in_words(node, leaf)
            case Call(function, arguments, table):
                inside = self.signs[","].join(self.write(argument, leaf) for argument in arguments)
                if function == "sqrt" and self.fractions:
                    return rf"\sqrt{{{inside}}}"
                return f"{self._function(function, table)}{self.brackets[0]}{inside}{self.brackets[1]}"

    def _call_in_words(self, call: Call, leaf: Leaf) -> str:
        first, *further = (self._inside(argument, leaf, 4) for argument in call.arguments)
        and_ = self.signs[","]
        return self.calls[call.function].format(
            bare=self.write(call.arguments[0], leaf),
            first=first,
            all=and_.join((first, *further)),
            for_rest=f" for {and_.join(further)}" if further else "",
            table=call.table.replace("_", " "),
        )

    def _function(self, function: str, table: str) -> str:
        """A function's words, with the table that it reads."""
        if not table:
            return self.functions[function]
        words = f"{PLAIN_FUNCTIONS[function]} [{table.replace('_', ' ')}]"
        return rf"\text{{{words}}}" if self.fractions else words

    def _inside(self, node: Node, leaf: Leaf, binding: int, negative_bare: bool = False) -> str:
        text = self.write(node, leaf)
        set_as_fraction = self.fractions and isinstance(node, Operation) and node.sign == "/"
        negative_leaf = isinstance(node, Name | Literal) and text.startswith("−") and not negative_bare
        if negative_leaf or (_binding(node) < binding and not set_as_fraction):
            return f"{self.brackets[0]}{text}{self.brackets[1]}"
        return text


PLAIN = Notation(
    {"+": " + ", "-": " − ", "*": " × ", "/": " ÷ ", "negative": "−", "<=": " ≤ ", ">=": " ≥ ", ",": ", "},
    PLAIN_FUNCTIONS,
)
LATEX = Notation(
    {"+": " + ", "-": " - ", "*": r" \cdot ", "/": "/", "negative": "-", "<=": r" \le ", ">=": r" \ge ", ",": r",\; "},
    _LATEX_FUNCTIONS,
    (r"\left(", r"\right)"),
    fractions=True,
    power="{base}^{{{exponent}}}",
)
SPOKEN = Notation(
    {
        "+": " plus ",
        "-": " minus ",
        "*": " times ",
        "/": " divided by ",
        "negative": "minus ",
        "<=": " is at most ",
        ">=": " is at least ",
        ",": " and ",
    },
    PLAIN_FUNCTIONS,
    (" open bracket ", " close bracket "),
    power="{base} to the power of {exponent}",
    calls=_SPOKEN_CALLS,
)


def literal_text(literal: Literal) -> str:
    """A literal as people write it: '25 °C'."""
    return f"{literal.text}\u00a0{written_unit(literal.unit)}" if literal.unit else literal.text


def plain_leaf(leaf: Name | Literal) -> str:
    """A quantity by its name, a literal as people write it."""
    return literal_text(leaf) if isinstance(leaf, Literal) else leaf.id


def plain(node: Node) -> str:
    """A relation in plain signs, with the quantities' names in words: 'rated power ÷ 0.85'."""
    return PLAIN.write(node, plain_leaf).replace("_", " ")
