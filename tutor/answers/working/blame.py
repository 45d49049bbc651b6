"""Assigning, at the end of a working, the blame for what was suspected on the way: where its first departure stands."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice, pairwise
from typing import Any

from tutor.answers.working.context import TELLING_DIGITS, Finding, LineFindings, WorkingContext
from tutor.answers.working.expression import Number
from tutor.answers.working.matching import Suspicion
from tutor.answers.working.reading import GOES_ON
from tutor.answers.working.values import ValueJudge
from tutor.entries.entry import Entry
from tutor.expression.tree import COMPARED, Call

NEXT_BUT_ONE = 2.0  # so far a result may lie from what was made of it by rounding, and by one more or less


class BlameAssignment:
    """Decides about what was suspected, now that it is clear where the working leads."""

    def __init__(self, context: WorkingContext, lines: Sequence[LineFindings]) -> None:
        self.context, self.learner, self.problem = context, context.learner, context.problem
        self.ask = context.problem.ask
        self.lines = self._with_doubts(lines)
        self.findings = [finding for line in self.lines for finding in line.findings]

    def settled(self) -> list[LineFindings]:
        """The lines with what led to the right value cleared, and what led to a wrong one blamed."""
        context, lines = self.context, self.lines
        goes_on = bool(lines) and not lines[-1].findings and not lines[-1].is_read
        if self.findings and not context.reached:
            self._take_for_the_answer(self.findings[-1])
        wrong = next((place for place, finding in enumerate(self.findings) if finding.is_wrong), None)
        if context.reached:
            self._clear()
            self._doubt()
        elif wrong is not None:
            self._blame_earlier(wrong)
        elif not goes_on and self.findings:
            self._blame_the_end(self.findings[-1])
        if self.learner.kind(self.ask) != "number":  # it may be right by luck
            context.reached = context.reached and not any(finding.unknown_number for finding in self.findings)
        remaining = iter(self.findings)
        settled = [replace(line, findings=tuple(islice(remaining, len(line.findings)))) for line in lines]
        return self._pointing_back(settled)

    def _change(self, place: int, **changes: Any) -> None:
        self.findings[place] = replace(self.findings[place], **changes)

    def _with_doubts(self, lines: Sequence[LineFindings]) -> list[LineFindings]:
        """The lines, with a result only suspected that the line behind it goes on with, by an operator."""
        doubted = [*lines]
        for place, (line, following) in enumerate(pairwise(lines)):
            if following.unread == GOES_ON and line.findings:
                *findings, last = line.findings
                doubted[place] = replace(line, findings=(*findings, self.context.doubted(last)))
        return doubted

    def _pointing_back(self, lines: list[LineFindings]) -> list[LineFindings]:
        """The lines; where a departure has no name, it points at the line before it that was not recognised."""
        decisive = [(place, finding) for place, line in enumerate(lines) if (finding := line.decisive) is not None]
        wrong = next((order for order, (_, finding) in enumerate(decisive) if finding.is_wrong), 0)
        doubtful = next((lines[place].text for place, finding in decisive[:wrong] if finding.unrecognized), None)
        if doubtful is None:
            return lines
        place, departure = decisive[wrong]
        if departure.verdict == "departs" and (departure.way is None or departure.way.origin == "pair"):
            words = f"{departure.words} {self.context.messages.say('look_first', text=doubtful)}"
            findings = [
                replace(finding, words=words) if finding is departure else finding for finding in lines[place].findings
            ]
            lines[place] = replace(lines[place], findings=tuple(findings))
        return lines

    def _take_for_the_answer(self, last: Finding) -> None:
        """Take a value without a name at the end, which is the answer or what that is compared from, for the answer."""
        ask, context = self.ask, self.context
        step = context.samples.steps[ask]
        if last.name is None and last.verdict == "holds" and last.number is not None:
            right = filter(self._is_the_answer, self.learner.entries_for(ask, last.number))
            if (entry := next(right, None)) is not None:
                self._reach(entry=entry)
                return
        if self._is_the_one_chosen(last):
            self._reach()
            return
        if last.matched_by_value and last.number and step.kind in ("compare", "choose") and last.name in step.uses:
            entry = self.learner.entry_for(ask, last.number)
            if entry is None or (step.kind == "choose" and not self._is_listed(last.number, entry)):
                return
            if step.kind == "choose":
                self.learner.entries.pop(last.name, None)
            if not self.learner.follows(ask, entry):
                self._depart(entry)
            elif self.learner.is_right(ask, entry):
                self._reach(entry=entry)
            else:
                self._change(-1, name=ask, entry=entry, words=context.messages.say("carried"))

    def _reach(self, **changes: Any) -> None:
        """Take the last finding for the right answer."""
        self._change(-1, name=self.ask, words=self.context.messages.say("step", self.ask), **changes)
        self.context.reached = True

    def _depart(self, entry: Entry) -> None:
        """Let the last finding depart from the answer."""
        departing = self.context.departing(self.ask, entry, None)
        self._change(-1, verdict=departing.verdict, name=self.ask, way=departing.way, words=departing.words)

    def _is_the_one_chosen(self, last: Finding) -> bool:
        """Whether the answer is the least or the greatest of several steps, and this step at the end is that one."""
        tree = self.problem.question.relations.get(self.ask)
        among = isinstance(tree, Call) and tree.function in COMPARED
        used = last.name in self.context.samples.steps[self.ask].uses
        return among and used and last.verdict == "holds" and self.learner.is_right(self.ask, last.entry)

    def _is_listed(self, number: Number, entry: Entry) -> bool:
        """Whether a number as typed is a size that may be chosen for the answer, rightly or wrongly."""
        chosen = [vectors[self.ask][-1] for _, vectors in self.context.samples.wrong if self.ask in vectors]
        return number.is_whole and any(self.learner.is_value(self.ask, entry, value) for value in chosen)

    def _is_the_answer(self, entry: Entry) -> bool:
        precise = entry.digits >= TELLING_DIGITS and self.learner.kind(self.ask) == "number"
        closely = self.learner.is_value(self.ask, entry, self.problem.values[self.ask], closely=True)
        return precise and closely and self.learner.is_right(self.ask, entry)

    def _clear(self) -> None:
        """Clear what was no mistake, as what follows is right: a part of a step, or a value that was only looked at."""
        on_the_way = self.context.messages.say("on_the_way")
        for place, finding in enumerate(self.findings):
            later = self.findings[place + 1 :]
            if finding.verdict == "departs" and self._is_left_behind(finding, later):
                self._change(place, verdict="holds", words=on_the_way, name=None, way=None)
            name = self.findings[place].name
            if finding.label_mismatch_only and any(
                self.learner.is_right(name, step.entry) for step in later if step.name == name
            ):
                self._change(place, verdict="holds", words=on_the_way)

    def _is_left_behind(self, finding: Finding, later: Sequence[Finding]) -> bool:
        """Whether all steps that follow on a departure are right, one of them a step that the mistake would change."""
        steps = [step for step in later if step.name and step.entry]
        if not all(self.learner.is_right(step.name, step.entry) for step in steps):
            return False
        changed = {finding.name}
        if finding.way is not None:
            changed |= self.context.numbers.values_on(finding.way).keys()
        elif self.learner.kind(self.ask) == "number":
            changed.add(self.ask)
        return any(step.name in changed for step in steps)

    def _doubt(self) -> None:
        """Blame what was suspected, if a bare yes or no is right without the step that proves it."""
        proof = self.problem.question.evidence
        if proof is None or any(finding.is_wrong or finding.name == proof for finding in self.findings):
            return
        for place, suspicion in self._suspicions():
            if not self.findings[place].unrecognized and suspicion.name == proof:
                self._blame(place, suspicion)
                self.context.reached = False
                return

    def _blame_earlier(self, wrong: int) -> None:
        """Move the blame to the suspected result from which the first wrong line only follows."""
        departure = self.findings[wrong]
        if departure.verdict != "departs":
            return
        for place, suspicion in self._suspicions(wrong):
            if self.findings[place].verdict == "holds" and self._leads_to(suspicion, departure):
                self._blame(place, suspicion)
                break
        else:
            unknown = self._unknown_number(wrong)
            by_value = departure.name in self.problem.question.discrete  # one of few sizes or counts, met by many ways
            if unknown is None or (departure.way is not None and not by_value):
                return
            self._change(unknown, verdict="departs")
        self._change(wrong, verdict="holds", words=self.context.messages.say("carried"))

    def _leads_to(self, suspicion: Suspicion, finding: Finding) -> bool:
        if finding.way is not None and suspicion.way.id == finding.way.id:
            return True
        values = self.context.numbers.values_on(suspicion.way)
        if not finding.entry or finding.name not in values:
            return False
        return self.learner.is_value(finding.name, finding.entry, values[finding.name])

    def _blame(self, place: int, suspicion: Suspicion) -> None:
        way, name = suspicion
        self._change(place, verdict="departs", name=name, way=way, words=self.context.messages.departs(name, way))

    def _blame_the_end(self, last: Finding) -> None:
        """What a working ends with is its answer; if that is not the one asked for, it departs there at the latest."""
        ask, number = self.ask, last.number
        entry = self.learner.entry_for(ask, number) if number is not None else None
        if number is None or entry is None:
            return
        if last.name not in (None, ask):
            self._blame_a_repeated(last, entry)
            return
        if self._is_the_answer(entry):
            return
        for place, suspicion in self._suspicions():
            if self._is_wrong_answer(entry, self.context.numbers.values_on(suspicion.way)):
                self._blame(place, suspicion)
                return
        suspected = any(name == ask for _, name in last.suspected)
        doubtful = last.unrecognized or suspected
        measured = bool(number.measured_in)
        unknown = self._unknown_number()
        if unknown is not None and (doubtful or measured):
            self._change(unknown, verdict="departs")
        elif self._is_rounded_wrongly(number, entry):
            self._depart(entry)
        elif doubtful and not self.learner.is_value(ask, entry, self.problem.values[ask]):
            is_new = last.verdict == "holds" and (suspected or measured or self.learner.open_steps() == [ask])
            if is_new or not ValueJudge(self.context).is_familiar(number):
                self._depart(entry)

    def _is_wrong_answer(self, entry: Entry, values: dict[str, float]) -> bool:
        """Whether an entry is the answer among the values on a wrong way."""
        return self.ask in values and self.learner.is_value(self.ask, entry, values[self.ask])

    def _is_rounded_wrongly(self, number: Number, entry: Entry) -> bool:
        """Whether a whole number at the end is a declared wrong way's answer, and near a result before it."""
        if self.context.samples.steps[self.ask].kind != "round" or not number.is_whole:
            return False
        earlier = (finding.number for finding in self.findings[:-1] if finding.number is not None)
        near = any(0 < abs(result.value - number.value) < NEXT_BUT_ONE for result in earlier)
        return near and any(self._is_wrong_answer(entry, values) for _, values in self.context.numbers.wrong_values)

    def _blame_a_repeated(self, last: Finding, entry: Entry) -> None:
        """A step that stands there twice may be a wrong way's answer the second time."""
        if any(finding.name == last.name for finding in self.findings[:-1]):
            for way, values in self.context.numbers.wrong_values:
                if self._is_wrong_answer(entry, values):
                    self._blame(-1, Suspicion(way, self.ask))
                    return

    def _unknown_number(self, end: int | None = None) -> int | None:
        """The first result with a number from nowhere; none where that may come from what was not read before it."""
        for place, finding in enumerate(self.findings[:end]):
            if finding.unknown_number or finding.verdict == "unread":
                return place if finding.unknown_number else None
        return None

    def _suspicions(self, end: int | None = None) -> Iterator[tuple[int, Suspicion]]:
        for place, finding in enumerate(self.findings[:end]):
            for suspicion in finding.suspected:
                yield place, suspicion
