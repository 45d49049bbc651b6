"""Settling, at the end of a working, what was suspected on the way: where its first departure stands."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from tutor.answers.working.expression import Number
from tutor.answers.working.knowledge import TELLING_DIGITS, Finding, Judge, LineFindings
from tutor.answers.working.methods import Suspicion
from tutor.answers.working.reading import GOES_ON
from tutor.answers.working.values import Values
from tutor.entries.entry import Entry
from tutor.expression.tree import COMPARED, Call

NEXT_BUT_ONE = 2.0  # so far a result may lie from what was made of it by rounding, and by one more or less


class Settling(Judge):
    """Decides about what was suspected, now that it is clear where the working leads."""

    def settle(self, lines: Sequence[LineFindings]) -> None:
        """Clear what led to the right value, and blame what led to a wrong one."""
        self._doubt_what_goes_on(lines)
        findings = [finding for line in lines for finding in line.findings]
        goes_on = bool(lines) and not lines[-1].findings and not lines[-1].is_read
        if findings and not self.known.reached:
            self._take_for_the_answer(findings[-1])
        first = next((at for at, finding in enumerate(findings) if finding.is_wrong), None)
        if self.known.reached:
            self._clear(findings)
            self._doubt(findings)
        elif first is not None:
            self._blame_earlier(findings[:first], findings[first])
        elif not goes_on:
            self._blame_the_end(findings)
        if self.problem.question.library.quantities[self.problem.ask].kind != "number":  # it may be right by luck
            self.known.reached = self.known.reached and not any(finding.stray for finding in findings)
        self._point_back(lines)

    def _doubt_what_goes_on(self, lines: Sequence[LineFindings]) -> None:
        """Only suspect a result that the line behind it goes on with, by an operator."""
        for line, following in pairwise(lines):
            if following.unread == GOES_ON and line.findings:
                line.findings[-1] = self.known.doubted(line.findings[-1])

    def _point_back(self, lines: Sequence[LineFindings]) -> None:
        """Where a departure has no name, point at the line before it that was not recognised."""
        told = [(line.text, finding) for line in lines if (finding := line.decisive) is not None]
        place = next((at for at, (_, finding) in enumerate(told) if finding.is_wrong), 0)
        doubtful = next((text for text, finding in told[:place] if finding.loose), None)
        if doubtful is None or (wrong := told[place][1]).verdict != "departs":
            return
        if wrong.way is None or wrong.way.origin == "pair":
            wrong.words += f" {self.teller.look_first(doubtful)}"

    def _take_for_the_answer(self, last: Finding) -> None:
        """Take a value without a name at the end, which is the answer or what that is compared from, for the answer."""
        ask = self.problem.ask
        if last.name is None and last.verdict == "holds" and last.number is not None:
            right = (one for one in self.own.entries_for(ask, last.number) if self._is_the_answer(one))
            if (told := next(right, None)) is not None:
                last.name, last.entry, last.words, self.known.reached = ask, told, self.teller.holds(ask), True
                return
        step = self.worlds.steps[ask]
        if self._is_the_one_chosen(last):
            last.name, last.words, self.known.reached = ask, self.teller.holds(ask), True
            return
        if last.guessed and last.number is not None and step.kind in ("compare", "choose") and last.name in step.uses:
            entry = next(self.own.entries_for(ask, last.number), None)
            if entry is None or (step.kind == "choose" and not self._is_listed(last.number, entry)):
                return
            if step.kind == "choose":
                self.own.entries.pop(last.name, None)
            if self.own.follows(ask, entry):
                last.name, last.entry, self.known.reached = ask, entry, self.own.is_right(ask, entry)
                last.words = self.teller.holds(ask, carried=not self.known.reached)
            else:
                departing = self.known.departing(ask, entry, None)
                last.verdict, last.name, last.way, last.words = departing.verdict, ask, departing.way, departing.words

    def _is_the_one_chosen(self, last: Finding) -> bool:
        """Whether the answer is the least or the greatest of several steps, and this step at the end is that one."""
        ask = self.problem.ask
        tree = self.problem.question.relations.get(ask)
        among = isinstance(tree, Call) and tree.function in COMPARED and last.name in self.worlds.steps[ask].uses
        return among and last.verdict == "holds" and last.entry is not None and self.own.is_right(ask, last.entry)

    def _is_listed(self, number: Number, entry: Entry) -> bool:
        """Whether a number as typed is a size that may be chosen for the answer, rightly or wrongly."""
        ask = self.problem.ask
        chosen = [vectors[ask][-1] for _, vectors in self.worlds.wrong if ask in vectors]
        return number.is_whole and any(self.own.is_value(ask, entry, value) for value in chosen)

    def _is_the_answer(self, entry: Entry) -> bool:
        ask = self.problem.ask
        precise = entry.digits >= TELLING_DIGITS and self.problem.question.library.quantities[ask].kind == "number"
        closely = self.own.is_value(ask, entry, self.problem.values[ask], closely=True)
        return precise and closely and self.own.is_right(ask, entry)

    def _clear(self, findings: Sequence[Finding]) -> None:
        """Clear what was no mistake, as what follows is right: a part of a step, or a value that was only looked at."""
        for at, finding in enumerate(findings):
            if finding.verdict == "departs" and self._is_left_behind(finding, findings[at + 1 :]):
                finding.verdict, finding.words = "holds", self.teller.on_the_way()
                finding.name, finding.way = None, None
            if finding.strong and any(
                self.own.is_right(str(one.name), one.entry)
                for one in findings[at + 1 :]
                if one.name == finding.name and one.entry
            ):
                finding.verdict, finding.words = "holds", self.teller.on_the_way()

    def _is_left_behind(self, finding: Finding, later: Sequence[Finding]) -> bool:
        """Whether all steps that follow on a departure are right, one of them a step that the mistake would change."""
        steps = [(one.name, one.entry) for one in later if one.name and one.entry]
        if not all(self.own.is_right(name, entry) for name, entry in steps):
            return False
        changed = {finding.name}
        if finding.way is not None:
            changed |= self.sources.values_on(finding.way).keys()
        elif self.problem.question.library.quantities[self.problem.ask].kind == "number":
            changed.add(self.problem.ask)
        return any(name in changed for name, _ in steps)

    def _doubt(self, findings: Sequence[Finding]) -> None:
        """Blame what was suspected, if a bare yes or no is right without the step that proves it."""
        proof = self.problem.question.evidence
        if proof is None or any(finding.is_wrong or finding.name == proof for finding in findings):
            return
        sure = [finding for finding in findings if not finding.loose]
        found = next(((one, suspicion) for one, suspicion in _suspicions(sure) if suspicion.name == proof), None)
        if found is not None:
            self._blame(*found)
            self.known.reached = False

    def _blame_earlier(self, earlier: Sequence[Finding], first: Finding) -> None:
        """Move the blame to the suspected result from which the first wrong line only follows."""
        if first.verdict != "departs":
            return
        for finding, suspicion in _suspicions(earlier):
            if finding.verdict == "holds" and self._leads_to(suspicion, first):
                self._blame(finding, suspicion)
                break
        else:
            stray = _first_stray(earlier)
            by_value = first.name in self.problem.question.discrete  # one of few sizes or counts, met by many ways
            if stray is None or (first.way is not None and not by_value):
                return
            stray.verdict = "departs"
        first.verdict, first.words = "holds", self.teller.holds(first.name, carried=True)

    def _leads_to(self, suspicion: Suspicion, finding: Finding) -> bool:
        if finding.way is not None and suspicion.way.id == finding.way.id:
            return True
        if not finding.name or not finding.entry:
            return False
        values = self.sources.values_on(suspicion.way)
        return finding.name in values and self.own.is_value(finding.name, finding.entry, values[finding.name])

    def _blame(self, finding: Finding, suspicion: Suspicion) -> None:
        finding.verdict, finding.name, finding.way = "departs", suspicion.name, suspicion.way
        finding.words = self.teller.departs(suspicion.name, suspicion.way)

    def _blame_the_end(self, findings: Sequence[Finding]) -> None:
        """What a working ends with is its answer; if that is not the one asked for, it departs there at the latest."""
        ask = self.problem.ask
        last = findings[-1] if findings else None
        if last is None or last.number is None:
            return
        entry = next(self.own.entries_for(ask, last.number), None)
        if entry is None:
            return
        if last.name not in (None, ask):
            self._blame_a_repeated(findings, last, entry)
            return
        if self._is_the_answer(entry):
            return
        for finding, suspicion in _suspicions(findings):
            values = self.sources.values_on(suspicion.way)
            if ask in values and self.own.is_value(ask, entry, values[ask]):
                self._blame(finding, suspicion)
                return
        suspected = any(name == ask for _, name in last.suspected)
        measured = last.number.unit not in (None, "count")
        stray = _first_stray(findings)
        if stray is not None and (last.loose or suspected or measured):
            stray.verdict = "departs"
        elif self._rounded_wrongly(findings, last.number, entry):
            self._depart(last, entry)
        elif (last.loose or suspected) and not self.own.is_value(ask, entry, self.problem.values[ask]):
            new = last.verdict == "holds" and (suspected or measured or self.own.open_steps() == [ask])
            if new or not Values(self.known).is_familiar(last.number):
                self._depart(last, entry)

    def _depart(self, last: Finding, entry: Entry) -> None:
        departing = self.known.departing(self.problem.ask, entry, None)
        last.verdict, last.name, last.way, last.words = "departs", self.problem.ask, departing.way, departing.words

    def _rounded_wrongly(self, findings: Sequence[Finding], number: Number, entry: Entry) -> bool:
        """Whether a whole number at the end is a declared wrong way's answer, and near a result before it."""
        ask = self.problem.ask
        if self.worlds.steps[ask].kind != "round" or not number.is_whole:
            return False
        near = any(
            one.number is not None and 0 < abs(one.number.value - number.value) < NEXT_BUT_ONE for one in findings[:-1]
        )
        return near and any(
            ask in values and self.own.is_value(ask, entry, values[ask]) for _, values in self.sources.wrong_values
        )

    def _blame_a_repeated(self, findings: Sequence[Finding], last: Finding, entry: Entry) -> None:
        """A step that is told twice may be a wrong way's answer the second time."""
        ask = self.problem.ask
        if last.name and any(one.name == last.name for one in findings[:-1]):
            for way, values in self.sources.wrong_values:
                if ask in values and self.own.is_value(ask, entry, values[ask]):
                    self._blame(last, Suspicion(way, ask))
                    return


def _first_stray(findings: Sequence[Finding]) -> Finding | None:
    """The first result with a number from nowhere; none where that may come from what was not read before it."""
    doubtful = next((one for one in findings if one.stray or one.verdict == "unread"), None)
    return doubtful if doubtful is not None and doubtful.stray else None


def _suspicions(findings: Sequence[Finding]) -> Iterator[tuple[Finding, Suspicion]]:
    return ((finding, suspicion) for finding in findings for suspicion in finding.suspected)
