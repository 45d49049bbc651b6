"""Proving a declaration on load: every name known, every relation's dimensions, every question solvable."""

from collections.abc import Container, Iterator
from contextlib import suppress
from pathlib import Path

from tutor.base.units import conversion, written_unit
from tutor.content.errors import ContentError
from tutor.content.figures import VALUES_OF_A_DAY, SpecialFigure, Sweep
from tutor.content.files import Key, validated
from tutor.content.library import PARTS, Declared, DeclaredFigure, DeclaredOrder, Library, check_exercise, read_exercise
from tutor.content.models import PLACEHOLDER, Amount, Exercise, PartGiven, Protection
from tutor.expression import dimensions
from tutor.expression.tree import Call, Comparison, Node, RelationError, parts, walk
from tutor.problems.agreements import agreements, broken, compiled_agreement
from tutor.problems.day import SimulatedDay
from tutor.problems.draw import DrawError, draw, pools
from tutor.problems.order import OrderQuestion, draw_order
from tutor.problems.question import Question
from tutor.problems.sweep import FigureQuestion, comparisons, figure_question, rulebooks_of
from tutor.problems.what_if import movable, what_if
from tutor.problems.wrong_method import declared_mistakes, slipped_methods
from tutor.trade.rulebooks import RULEBOOKS, Rulebook, rulebook

DEFAULT_RULEBOOK = "us"


def prove(library: Library, path: Path) -> None:
    """Do once all that the file makes other parts of the program do. Raises ContentError for the first fault."""
    kinds = {kind: id_ for (kind, id_), origin in library.origins.items() if origin.document.path == path}
    if "figures" in kinds:
        _prove_figure(library, library.figures[kinds["figures"]])
        return
    if kinds and "exercises" not in kinds:
        check_agreements(library)
        return
    content = read_exercise(path)
    check_exercise(library, content)
    if isinstance(content, DeclaredOrder):
        for ask in content.exercise.asks:
            draw_order(
                OrderQuestion(library, content.exercise, content.document, ask, rulebook(DEFAULT_RULEBOOK, library)), 1
            )
        return
    for book in (rulebook(id_, library) for id_ in content.exercise.rulebooks):
        declared = content.under(book.id)
        for question in check_declaration(library, declared, book):
            try:
                problem = draw(question, 1)
            except DrawError as error:
                raise declared.document.fault(
                    error.key, f"{error.fault}.", "Use wider bounds, or other givens."
                ) from None
            for given in movable(problem):
                what_if(problem, given)
        _try_other_asks(library, declared, book)


def check_agreements(library: Library) -> None:
    """Prove that every agreement compares quantities of the glossary, like with like, and that all parts keep to it.

    Raises ContentError with the line of the agreement, or of the part that breaks one.
    """
    values = {id_: dimensions.typical(quantity) for id_, quantity in library.quantities.items()}
    for id_, agreement in library.agreements.items():
        try:
            compiled = compiled_agreement(id_, agreement)
            unknown = [name for name in compiled.joins if name not in values]
            if unknown:
                raise RelationError(f"'{unknown[0]}' is not in the glossary")
            dimensions.evaluate(compiled.tree, values, rulebook(DEFAULT_RULEBOOK, library))
        except RelationError as error:
            origin = library.origins["agreements", id_]
            raise origin.fault(("holds",), f"{id_}: {error}.", "Correct the agreement.") from None
    for kind in PARTS:
        for id_, part in getattr(library, kind).items():
            label = {name: amount.working for name, amount in part if isinstance(amount, Amount)}
            for agreement_id in (compiled.id for compiled in broken(agreements(library), label)):
                fault = f"'{id_}' breaks the agreement '{agreement_id}'."
                raise library.origins[kind, id_].fault((), fault, library.agreements[agreement_id].says)


def _prove_figure(library: Library, declared: DeclaredFigure) -> None:
    if isinstance(declared.figure, Sweep):
        books = rulebooks_of(library, declared.figure)
        if not books:
            raise declared.document.fault(("exercises",), "no rulebook has all of these exercises.", "Choose others.")
        for book in books:
            check_figure(figure_question(library, declared, rulebook(book, library)))
        return
    for id_ in RULEBOOKS:
        _check_special(declared, rulebook(id_, library))


def _check_special(declared: DeclaredFigure, book: Rulebook) -> None:
    """Prove a figure with a renderer of its own: its fields under a rulebook, and that this has what it starts with."""
    document, under = declared.document, ("in_rulebook", book.id)
    figure = validated(
        SpecialFigure, document, declared.figure.under(book.id), under if under in document.lines else ()
    )
    for name, control in figure.controls.items():
        standard: Container[object] = [size.name for size in book.sizes]
        if control.table == "fuse_ratings":
            standard = book.tables["fuse_ratings"].sizes
        if control.table and control.start not in standard:
            fault = f"'{control.start}' is no standard value of {name} in the rulebook {book.id}."
            key: Key = ("controls", name)
            key = (*under, *key) if (*under, *key) in document.lines else key
            raise document.fault(key, fault, "Start with one that its tables have.")
    if figure.day:
        known = {*figure.controls, *VALUES_OF_A_DAY}
        if unknown := sorted({*SimulatedDay(figure.day, {}).names} - known):
            mend = f"It has {', '.join(sorted(known))}."
            raise document.fault(("day",), f"the figure has no '{unknown[0]}'.", mend)


def _try_other_asks(library: Library, declared: Declared, book: Rulebook) -> None:
    """Turn the relations round to what only a command or an address asks for; where that is impossible is no fault."""
    exercise = declared.exercise
    for name in {*exercise.givens, *exercise.relations} - exercise.asks.keys():
        with suppress(ContentError):
            _ = list(slipped_methods(Question(library, declared, name, book)))


def check_figure(figure: FigureQuestion) -> None:
    """Prove a declared sweep: every name, every relation's dimensions, and that its curves have values.

    Raises ContentError with the line of the first fault.
    """
    question, swept = figure.question, figure.sweep.swept
    _check_givens(question)
    _check_relations(question)
    figure.check()
    values = {id_: dimensions.typical(quantity) for id_, quantity in question.library.quantities.items()}
    for key, text in comparisons(figure.sweep):
        try:
            dimensions.evaluate(figure.tree(text), values, question.rulebook)
        except RelationError as error:
            raise figure.fault(key, f"'{text}': {error}.", "Mend it, or the glossary's unit.") from None
    if swept:
        unit = question.library.quantities[swept.quantity].unit
        if conversion(unit).dimension != conversion(swept.lowest.unit).dimension:
            fault = f"'{swept.quantity}' is in '{written_unit(unit)}', but is swept from {swept.lowest}."
            raise figure.fault(("swept",), fault, "Mend its unit.")


def check_declaration(library: Library, declared: Declared, book: Rulebook) -> list[Question]:
    """Prove a declaration and return its questions, one for each entry of `asks`.

    Raises ContentError with the line of the first fault.
    """
    _check_names(library, declared)
    usual, *others = declared.exercise.asks
    first = Question(library, declared, usual, book)
    _check_givens(first)
    _check_relations(first)
    _check_protection(first)
    questions = [first, *(Question(library, declared, ask, book) for ask in others)]
    _check_sentences(questions)
    _check_mistakes(questions)
    return questions


def _check_names(library: Library, declared: Declared) -> None:
    exercise, document = declared.exercise, declared.document
    own = {*exercise.givens, *exercise.relations}
    for field_name in ("givens", "relations", "asks", "within", "why", "holds_for"):
        for name in getattr(exercise, field_name):
            if name not in library.quantities:
                raise document.fault((field_name, name), f"'{name}' is not in the glossary.", "Check its spelling.")
            if name not in own:
                raise document.fault(
                    (field_name, name),
                    f"'{name}' is neither a given nor a relation here.",
                    "Take it away or declare it.",
                )
    for name in exercise.relations:
        if name in exercise.givens:
            raise document.fault(("relations", name), f"'{name}' is a given and a relation.", "Keep one of the two.")
        if name not in exercise.why:
            raise document.fault(("relations", name), f"'{name}' has no reason.", f"Add a sentence under why: {name}.")
    for name, (low, high) in exercise.within.items():
        if low >= high:
            raise document.fault(("within", name), f"the bounds of '{name}' are empty.", "Write the lower one first.")
        least, most = library.quantities[name].plausible or (0.0, 1.0)
        if not (least <= low and high <= most):
            raise document.fault(
                ("within", name),
                f"the bounds of '{name}' reach beyond the glossary's, {least:g} to {most:g}.",
                "Write narrower ones.",
            )


def _check_givens(question: Question) -> None:
    exercise, document = question.exercise, question.document
    shelves = question.library
    fields = {
        "module": shelves.modules,
        "second module": shelves.modules,
        "charger": shelves.chargers,
        "place": shelves.places,
    }
    for name, given in exercise.givens.items():
        if isinstance(given, PartGiven):
            model = type(next(iter(fields[given.source].values())))
            if (given.take or name) not in model.model_fields:
                raise document.fault(
                    ("givens", name), f"a {given.source} has no '{given.take or name}'.", "Name it with 'take: ...'."
                )
    for _, options in pools(question):
        for name, amount in options[0].shown.items():
            unit = question.library.quantities[name].unit
            if conversion(unit).dimension != conversion(amount.unit).dimension:
                raise document.fault(
                    ("givens", name),
                    f"'{name}' is in '{written_unit(unit)}', but is drawn as {amount}.",
                    "Mend its unit.",
                )


def _check_relations(question: Question) -> None:
    quantities, document = question.library.quantities, question.document
    for name, tree in question.relations.items():
        inside = [inner for part in parts(tree) for inner in walk(part)]
        if any(isinstance(inner, Call | Comparison) for inner in inside):
            raise document.fault(
                ("relations", name),
                f"'{name}' rounds, compares or looks up inside a longer relation.",
                "Give that step a relation of its own.",
            )
    for key, name, tree in _trees(question):
        try:
            if name:
                dimensions.check(name, tree, quantities, question.rulebook)
            else:
                values = {id_: dimensions.typical(quantity) for id_, quantity in quantities.items()}
                dimensions.evaluate(tree, values, question.rulebook)
        except RelationError as error:
            raise document.fault(key, f"{error}.", "Mend the relation or the glossary's unit.") from None


def _check_protection(question: Question) -> None:
    """Whoever asks for a conductor's size, or what one may carry or be protected at, says how a device protects it."""
    exercise, document, quantities = question.exercise, question.document, question.library.quantities
    own = [*exercise.givens, *exercise.relations]
    sizes = [name for name in own if quantities[name].kind == "size"]
    judged = question.final in sizes or any(quantities[name].device for name in own) or _reads_ampacity(question)
    if exercise.protection is None and sizes and judged:
        raise document.fault(
            ("asks", question.final),
            f"it has the size of a conductor, '{sizes[0]}', and does not say which device protects it.",
            "Add 'protection: {conductors: [...], insulation: ..., load: ...}', or a sentence why it needs none.",
        )
    for name in exercise.protection.names if isinstance(exercise.protection, Protection) else ():
        if name not in own:
            raise document.fault(
                ("protection",), f"'{name}' is neither a given nor a relation here.", "Check its spelling."
            )


def _reads_ampacity(question: Question) -> bool:
    calls = (node for tree in question.relations.values() for node in walk(tree) if isinstance(node, Call))
    return any("ampacity" in call.table for call in calls)


def _trees(question: Question) -> Iterator[tuple[Key, str, Node]]:
    for name, tree in question.relations.items():
        yield ("relations", name), name, tree
    for index, limit in enumerate(question.limits_declared):
        yield ("limits", index), "", limit


def _check_sentences(questions: list[Question]) -> None:
    first = questions[0]
    exercise, document = first.exercise, first.document
    told = {*exercise.givens, first.final, *_roles(exercise)}
    for index, sentence in enumerate(exercise.story):
        for name in PLACEHOLDER.findall(sentence):
            if name not in told:
                raise document.fault(
                    ("story", index), f"the story has no {{{name}}} to tell.", "Use a given, or a part's name."
                )
    for question in questions:
        for name in PLACEHOLDER.findall(exercise.asks[question.ask]):
            if name not in {*question.known, *_roles(exercise)}:
                raise document.fault(
                    ("asks", question.ask), f"{{{name}}} is not known in this question.", "Use what is told."
                )


def _roles(exercise: Exercise) -> set[str]:
    sources = {given.source for given in exercise.givens.values() if isinstance(given, PartGiven)}
    return {role.replace(" ", "_") for role in sources}


def _check_mistakes(questions: list[Question]) -> None:
    exercise, document = questions[0].exercise, questions[0].document
    bites = {mistake.id for question in questions for mistake in declared_mistakes(question)}
    for id_ in exercise.mistakes:
        if id_ not in bites:
            raise document.fault(
                ("mistakes", id_), f"the mistake '{id_}' changes no answer of this exercise.", "Mend its slip."
            )
    for question in questions:
        _ = question.limits
