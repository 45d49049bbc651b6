"""Hostile lines and entries from a seed: fragments of the grammar, what breaks readers, and any Unicode."""

from random import Random

DIGITS = "0123456789٣६９𝟗Ⅷ①²⁹½௧"
NUMBERS = (
    "1 2 9 12 0 -0 00 007 3.14 1,234 1.234,5 1 234 .5 5. 1e3 1e400 1e-400 9e99999 1_000 0x1f 0b1 1'000 inf -inf NaN "
    "Infinity nan None True 1j ½ 3½ ٣ ９ ² 1e 1e+ --1 1..2 1/0 0/0 9^9^9^9 9**9**9 10^12^12 (-8)^0.5 0^-1 twenty 1% 12.3 % "
    "14 AWG 4/0 AWG #10 1/0 6 mm² 250 kcmil 5 ft 3 in 1e308 1.7976931348623157e308 5e-324"
).split(" ")
UNITS = "V kV A mA W Wh Ah Ω mΩ % %/°C °C °F K mm² AWG ft m h min modules strings V/V A*A kW/m² ohm/kft F xyz °".split(
    " "
)
SIGNS = (*"+-*/^×÷·()[]{}=<>≤≥≈,;:.!?|&%$#@~'\"`\\_", "**", "//", "->", "=>", "==", "<=", ">=", " ", " ", " ", "  ")
WORDS = (
    "so and then round rounded down up to at for with yes no maybe because since check step the volts least greatest of min "
    "max sqrt floor ceil int look_up( first_at_least( round_down( rule( lambda import eval __import__('os') class None self "
    "print( {x} {0} %s %n $(id) <b>x</b> [a](http://a.b) :red[x] ${1} ../../etc/passwd '; DROP TABLE x; --"
).split(" ")
CALLS = (
    "sqrt(16, 4)", "sqrt()", "√", "√(", "round_down()", "round down()", "least()", "least(,)", "greatest(1,2,)", "floor(1,2)",
    "look_up(", "look_up(x, 1)", "sin(1)", "f(1)(2)", "sqrt(x=4)", "least(a=1, *b)", "max(1;2)", "min(5)", "ceil(1e400)",
    "floor(-1/0)", "sqrt(-1)", "square root of -4", "round up(1e308*10)", "least of (1, 2, 3)", "int(9^9^9^9)", "abs(-1)",
)  # fmt: skip
ODD = (
    "\u202e", "\u200b", "\u200d", "\ufeff", "\x00", "\x1b[31m", "\x7f", "\u0301", "😀", "𝐕", "ﬁ", "İ", "ß", "\ud800", "\u2028",
    "\U0010ffff", "（", "＝", "−", "⁄", "∞", "π", "√", "㎟", "℃", "٪", "٫",
)  # fmt: skip


def expression(random: Random, depth: int) -> str:
    """A calculation, mostly one that can be read."""
    kind = random.randrange(12)
    if depth <= 0 or kind < 4:
        return random.choice((str(random.randrange(1000)), f"{random.uniform(0, 500):.4g}", random.choice(NUMBERS)))
    inner = expression(random, depth - 1)
    if kind < 9:
        return f"{inner} {random.choice('+-*/^×')} {expression(random, depth - 1)}"
    if kind == 9:
        return f"({inner}) {random.choice(UNITS)}"
    arguments = ", ".join([inner, *(expression(random, depth - 1) for _ in range(random.randrange(3)))])
    return f"{random.choice(('sqrt', 'least', 'max', 'round down', 'floor', '√', 'ceil', 'f'))}({arguments})"


def piece(random: Random, known: tuple[str, ...]) -> str:
    """A fragment; `known` are words and numbers of the problem at hand."""
    kind = random.randrange(9)
    if kind < 2 and known:
        return random.choice(known)
    if kind < 7:
        return random.choice((NUMBERS, UNITS, SIGNS, WORDS, CALLS)[random.randrange(5)])
    if kind == 7:
        return random.choice(ODD) if random.random() < 0.3 else random.choice(DIGITS)
    return chr(random.randrange(0x20, 0x3000)) if random.random() < 0.3 else random.choice(SIGNS)


def text(random: Random, longest: int, known: tuple[str, ...] = ()) -> str:
    """One line or entry, at most a little longer than may be."""
    kind = random.randrange(10)
    if kind < 4:
        found = "".join(piece(random, known) for _ in range(random.randrange(1, 14)))
    elif kind < 7:
        parts = [expression(random, random.randrange(5)) for _ in range(random.choice((1, 2, 2, 2, 3)))]
        found = random.choice(("", "Voc = ", "so ", "1) ", "Step 3: ")) + random.choice(("=", " = ", " < ", "; ")).join(
            parts
        )
    elif kind == 7:
        numbers = known or NUMBERS
        found = "".join(random.choice(numbers) + random.choice("+-*/=;x ") for _ in range(random.randrange(5, 60)))
    elif kind == 8:
        found = random.choice("(-√[^+.,;=") * random.randrange(1, longest) + random.choice(NUMBERS)
        found = random.choice(("", "1")) + found + ")" * random.randrange(90)
    else:
        one = piece(random, known)
        found = (one + random.choice(("", " ", "+", ";", "="))) * random.randrange(1, 1 + longest // (len(one) + 1))
    return found[: longest + (10 if random.random() < 0.02 else 0)]
