"""Checking exercises over their draws: what `coldmorning verify` reports."""

import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, get_args

from tutor.answers.marking import mark
from tutor.base.paths import content_root
from tutor.base.units import conversion, decimals_of, plain_number
from tutor.content.errors import ContentError
from tutor.content.library import Declared, DeclaredOrder, Library, check_exercise, load, read_exercise, some_files
from tutor.content.models import Standing, without_standing
from tutor.expression import dimensions
from tutor.expression.tree import Call, RelationError, walk
from tutor.problems.agreements import binding, broken
from tutor.problems.declaration import check_agreements, check_declaration
from tutor.problems.draw import DrawError, draw, pools
from tutor.problems.draw_checks import ambiguity
from tutor.problems.order import OrderProblem, OrderQuestion, draw_order
from tutor.problems.printing import STEP_FIGURES
from tutor.problems.problem import Problem
from tutor.problems.protection import unprotected
from tutor.problems.proving import own_files, proofs
from tutor.problems.question import Question
from tutor.problems.solution import worked_solution
from tutor.trade.rulebooks import Table, rulebook

LOOKED_AT_CLOSELY = 10  # draws of each question that go through pint, the marking and the worked solution too
SECONDS_TO_BEGIN, SECONDS_FOR_A_DRAW = 10, 0.25  # a built-in exercise draws and checks twenty problems in that time
SAME = 1e-6  # relative distance below which a value put back into its relation counts as the same


@dataclass
class Report:
    """What was found about one exercise: draws made, seconds taken, how many kept all mistakes apart, faults."""

    exercise: str
    questions: int = 0
    draws: int = 0
    kept_apart: int = 0
    seconds: float = 0.0
    faults: list[str] = field(default_factory=list)

    def line(self) -> str:
        """One row of the table."""
        apart = f"{100 * self.kept_apart / self.draws:.0f} %" if self.draws else "-"
        verdict = "holds" if not self.faults else "FAULT: " + " | ".join(self.faults)
        return (
            f"{self.exercise:36} {self.questions:2} questions {self.draws:7} draws {self.seconds:6.1f} s  "
            f"mistakes all apart in {apart:>5}  {verdict}"
        )

    def as_json(self) -> dict[str, Any]:
        """The same as JSON."""
        return asdict(self)


def verify_all(paths: Sequence[Path], draws: int, extra: Path | None) -> Iterator[Report]:
    """Check the exercise files named, those of the folders named, or all exercises; one report each, in their order.

    Raises ContentError if a path is missing or the content around the exercises cannot be read.
    """
    files = [file for path in paths for file in _files(path)]
    library = load(extra)
    check_agreements(load())
    foreign = [file for file in files if not file.resolve().is_relative_to(content_root())]
    foreign = foreign or own_files(library, extra)
    faults = {path: fault for path, fault in zip(foreign, proofs(foreign, extra), strict=True) if fault is not None}
    if files:
        yield from (_refused(file, faults) or verify_file(library, file, draws) for file in files)
        return
    yield from (Report(path.stem, faults=[str(fault)]) for path, fault in faults.items())
    ids = [id_ for id_ in library.exercises if id_ not in {path.stem for path in faults}]
    with ProcessPoolExecutor(2, initializer=_load_in_worker, initargs=(extra,)) as workers:
        yield from workers.map(_in_worker, ids, [draws] * len(ids))


def _refused(file: Path, faults: Mapping[Path, ContentError]) -> Report | None:
    return Report(file.stem, faults=[str(faults[file])]) if file in faults else None


def _files(path: Path) -> list[Path]:
    files = [path] if path.is_file() else []
    if path.is_dir():
        files = [file for file in some_files(path, "**/*.yaml") if "assets" not in file.relative_to(path).parts]
    if not files:
        raise ContentError(path, 0, "there is no exercise file.", "Name one, or a folder that holds some.")
    return files


def verify_file(library: Library, path: Path, draws: int) -> Report:
    """Check one exercise file beside a library that need not hold it."""
    try:
        declared = read_exercise(path)
        check_exercise(library, declared)
    except ContentError as error:
        return Report(path.stem, faults=[str(error)])
    if isinstance(declared, DeclaredOrder):
        return verify_order(library, declared, draws)
    return verify(library, declared, draws)


_worker_library: list[Library] = []


def _load_in_worker(extra: Path | None) -> None:
    _worker_library[:] = [load(extra)]


def _in_worker(id_: str, draws: int) -> Report:
    library = _worker_library[0]
    around = library.around(id_)
    if id_ in library.orders:
        return verify_order(around, library.orders[id_], draws)
    return verify(around, library.declared[id_], draws)


def verify(library: Library, declared: Declared, draws: int) -> Report:
    """Check one exercise: its declaration under every rulebook, and so many draws of each of its questions."""
    report = Report(declared.exercise.id)
    began = time.perf_counter()
    try:
        for index, id_ in enumerate(declared.exercise.rulebooks):
            questions = check_declaration(library, declared.under(id_), rulebook(id_, library))
            report.questions = max(report.questions, len(questions))
            report.faults += [fault for table in _tables_used(questions) for fault in table_faults(table)]
            own_draws = index == 0 or id_ in declared.exercise.in_rulebook
            for question in questions:
                _verify_question(question, draws if own_draws else LOOKED_AT_CLOSELY, report)
    except (ContentError, DrawError) as error:
        report.faults.append(str(error))
    report.seconds = round(time.perf_counter() - began, 2)
    return report


def _tables_used(questions: Sequence[Question]) -> list[Table]:
    """The tables that an exercise's relations read, each once."""
    calls = (node for question in questions for tree in question.relations.values() for node in walk(tree))
    named = {node.table: None for node in calls if isinstance(node, Call)}
    return [questions[0].rulebook.tables[name] for name in named if name in questions[0].rulebook.tables]


def table_faults(table: Table) -> Iterator[str]:
    """What is missing in a table's rows: a source, a standing; and notes that tell the standing a second time."""
    for row in table.rows:
        where = f"the table '{table.name}', {row[table.key] if table.key else row[table.value]}"
        if not row["source"]:
            yield f"{where}: a row without a source"
        if row["standing"] not in get_args(Standing):
            yield f"{where}: a row without a standing, '{row['standing']}'"
        try:
            without_standing("; ".join(text for column, text in row.items() if column != "standing"))
        except ValueError as error:
            yield f"{where}: {error}"


def verify_order(library: Library, declared: DeclaredOrder, draws: int) -> Report:
    """Check an exercise that asks for an order: every right order is right, every arrow turned round is named."""
    exercise = declared.exercise
    report = Report(exercise.id, questions=len(exercise.asks))
    began = time.perf_counter()
    for ask in exercise.asks:
        question = OrderQuestion(library, exercise, declared.document, ask, rulebook("us", library))
        for number in range(1, draws + 1):
            problem = draw_order(question, number)
            report.draws += 1
            report.kept_apart += 1
            report.faults += [f"asked for {ask}, number {number}: {fault}" for fault in _order_faults(problem)]
            if report.faults:
                break
    report.seconds = round(time.perf_counter() - began, 2)
    return report


def _order_faults(problem: OrderProblem) -> Iterator[str]:
    for action in problem.missing:
        yield f"the indispensable action '{action}' is left out"
    if {line.name for line in worked_solution(problem)} != problem.question.exercise.actions.keys():
        yield "the worked solution leaves out a part of the procedure"
    if mark(problem, problem.answer_text).verdict != "right":
        yield "the right order is not marked right"
    left = problem.to_order
    for action, letter in ((action, problem.letter_of(action)) for action in problem.letters.values()):
        trap, early = action not in left, action in left and problem.must_wait(action, left) is not None
        if (trap or early) and mark(problem, letter).named is None:
            yield f"step {letter}, which must not come now, is not named as a mistake"


def _part_faults(question: Question) -> Iterator[str]:
    """What the parts that a question draws from say that contradicts itself."""
    for _, options in pools(question):
        for option in options:
            for one in broken(binding(question), option.working):
                yield f"{option.name or 'a given'} breaks the agreement '{one.id}'"


def _verify_question(question: Question, draws: int, report: Report) -> None:
    report.faults += [f"asked for {question.ask}: {fault}" for fault in _part_faults(question)]
    began = time.perf_counter()
    for number in range(1, draws + 1):
        if time.perf_counter() - began > SECONDS_TO_BEGIN + number * SECONDS_FOR_A_DRAW:
            report.faults.append(f"asked for {question.ask}: drawing a problem takes too long; use fewer mistakes")
            return
        problem = draw(question, number)
        faults = list(_faults(problem, closely=number <= LOOKED_AT_CLOSELY))
        report.draws += 1
        report.kept_apart += ambiguity(problem).bits == 0
        if faults:
            where = f"asked for {question.ask}, number {number}"
            report.faults += [f"{where}: {fault}" for fault in faults]
            return


def _faults(problem: Problem, *, closely: bool) -> Iterator[str]:
    yield from _not_consistent(problem)
    values = problem.all_values
    for one in broken(binding(problem.question), values):
        yield f"the numbers break the agreement '{one.id}'"
    yield from _not_right_as_printed(problem)
    for limit in problem.question.limits:
        if not limit.holds(values):
            yield f"the right answer breaks the limit '{problem.question.exercise.limits[0]}'"
    for name, value in values.items():
        low, high = problem.question.plausible(name)
        if not low - SAME * abs(low) <= value <= high + SAME * abs(high):
            yield f"{name} = {problem.text_of(name)} is not plausible"
    if reason := unprotected(problem):
        yield f"it could not be protected: {reason}"
    if closely:
        yield from _faults_on_the_page(problem)
        yield from _not_consistent_in_pint(problem)


def _not_right_as_printed(problem: Problem) -> Iterator[str]:
    """Hold what is printed, the answer and each step, to what marking accepts; put an answer asked for back."""
    value = problem.printed_value
    if not problem.accepts(value):
        yield f"the answer as printed, {problem.printed}, is not right"
    if not problem.leads_back(value):
        yield f"the answer as printed, {problem.printed}, put back changes a count or a rating"
    quantities = problem.question.library.quantities
    for name in problem.step_names[:-1]:
        if problem.kind(name).measured and quantities[name].tolerance is not None:  # else four figures suffice
            scale = conversion(problem.unit_of(name))
            shown = scale.to_shown(problem.values[name])
            text = plain_number(shown, decimals_of(shown, STEP_FIGURES))
            if not problem.is_near(name, scale.to_working(float(text))):
                yield f"{name} as printed, {text}, is not right"


def _not_consistent(problem: Problem) -> Iterator[str]:
    """Put every value back into the declared relations."""
    values = problem.all_values
    for name, tree in problem.question.relations.items():
        if name not in values or (problem.question.reversed and name == problem.question.final):
            continue
        if not _are_equal(problem.evaluate(tree), values[name]):
            yield f"the relation of {name} does not hold"


def _are_equal(value: float, other: float) -> bool:
    return abs(value - other) <= SAME * max(1e-9, abs(value), abs(other))


def _not_consistent_in_pint(problem: Problem) -> Iterator[str]:
    """Work the relations out again in pint, from the givens as they are told."""
    quantities = problem.question.library.quantities
    values = {name: dimensions.in_pint(amount.value, amount.unit) for name, amount in problem.shown.items()}
    for step in problem.question.right.steps:
        if step.turned:
            return
        if step.kind == "trace":
            amount = conversion(quantities[step.name].unit).to_shown(problem.values[step.name])
            values[step.name] = dimensions.in_pint(amount, quantities[step.name].unit)
            continue
        try:
            result = dimensions.evaluate(step.trees[0], values, problem.question.rulebook)
        except RelationError as error:
            yield f"{step.name}: {error}"
            return
        values[step.name] = result
        unit = quantities[step.name].unit
        shown = float(result.to(dimensions.in_pint(1.0, unit).units).magnitude)
        if not _are_equal(conversion(unit).to_working(shown), problem.values[step.name]):
            yield f"{step.name} comes out differently in pint"


def _faults_on_the_page(problem: Problem) -> Iterator[str]:
    """Mark the right answer and every mistake's answer as a learner would type them, and tell the solution."""
    if not problem.story:
        yield "no sentence of the story can be told"
    if "{" in problem.task:
        yield f"the question leaves something open: {problem.task}"
    if not all(line.value for line in worked_solution(problem) if line.name == "limit"):
        yield "the answer as printed breaks a limit in the worked solution"
    if _marked(problem, problem.values) != "right":
        yield "the right answer is not marked right"
    as_told = {name: problem.text_of(name) for name in problem.step_names}
    marking = mark(problem, as_told.pop(problem.ask), as_told)
    if {marking.verdict, *(one.verdict for one in marking.steps.values())} != {"right"}:
        yield "the answer or a step, typed as it is printed, is not marked right"
    for mistake, values in problem.predictions:
        if _marked(problem, values) == "right":
            yield f"the mistake '{mistake.id}' is marked right"


def _marked(problem: Problem, values: Mapping[str, float]) -> str:
    """The verdict on values typed as a learner would: the answer, and the step that a yes or no has to come with."""
    evidence = problem.question.evidence
    steps = {evidence: _typed(problem, evidence, values[evidence])} if evidence and evidence in values else {}
    return mark(problem, _typed(problem, problem.ask, values[problem.ask]), steps).verdict


def _typed(problem: Problem, name: str, value: float) -> str:
    if problem.kind(name).in_words:
        return problem.text_of(name, value)
    return f"{conversion(problem.unit_of(name)).to_shown(value):.10g}"
