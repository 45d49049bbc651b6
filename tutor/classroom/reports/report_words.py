"""A class's report in lines of text, for the shell."""

from collections.abc import Iterator

from tutor.base.intervals import Interval
from tutor.base.text import counted
from tutor.classroom.reports.mistakes import ClassMistake
from tutor.classroom.reports.report import ClassReport, LearnerLine
from tutor.classroom.reports.statistics import ENOUGH, PlaceStatistics


def report_lines(report: ClassReport) -> Iterator[str]:
    """The places, the reliability of their sum, the mistakes, the learners."""
    statistics = report.statistics
    absent = sum(not line.submitted and line.places > 0 for line in report.learners)
    words = f"{report.title}: {counted(statistics.learners, 'learner')}, {'closed' if report.closed else 'still open'}"
    yield f"{words}; not submitted: {absent}" if absent else words
    if not statistics.enough:
        yield f"Fewer than {ENOUGH} learners: read the intervals; no verdicts are given."
    yield ""
    yield from map(_place, statistics.places)
    reliability = statistics.reliability
    if reliability.kr20 is not None:
        basis = f"{counted(reliability.learners, 'learner')} of whom every place is decided"
        yield f"KR-20 {hundredths(reliability.kr20)}{_span(reliability.interval)}, from {basis}"
    yield ""
    yield "Mistakes, the most pressing first:" if report.mistakes else "No mistake has been recognised yet."
    for number, mistake in enumerate(report.mistakes, start=1):
        yield from _mistake(number, mistake)
    if report.unexplained:
        yield f"Wrong answers that no known mistake explains: {report.unexplained}"
    yield ""
    yield from map(_learner, report.learners)


def _place(place: PlaceStatistics) -> str:
    share = "nobody yet" if place.right.value is None else f"{100 * place.right.value:.0f} %"
    low, high = place.right.interval or (0.0, 1.0)
    words = [
        f"{place.place:3} {place.exercise}: right {place.right.count} of {place.right.total}, {share} "
        f"({100 * low:.0f} to {100 * high:.0f})"
    ]
    if place.item_rest is not None:
        words.append(f"item-rest {hundredths(place.item_rest)}{_span(place.item_rest_interval)}")
    if place.seconds:
        words.append(f"median {place.seconds.median / 60:.1f} min")
    if place.tries:
        words.append(f"median tries {place.tries.median:g}")
    words += [f"{count} {word}" for count, word in ((place.excused, "excused"), (place.open, "open")) if count]
    return ", ".join(words) + (f". {place.verdict}" if place.verdict else "")


def _mistake(number: int, mistake: ClassMistake) -> Iterator[str]:
    expected = f", perhaps {mistake.perhaps:.1f} more" if mistake.perhaps >= 0.05 else ""
    yield f"{number:3} {mistake.words}: {counted(mistake.learners, 'learner')}{expected}"
    if mistake.broke_limit:
        yield f"      {mistake.broke_limit} of its {mistake.answers} answers would break a limit"
    yield f"      seen in: {', '.join(mistake.exercises)}"
    yield f"      typed: {'; '.join(mistake.examples)}"
    if mistake.lesson_title:
        yield f"      lesson: {mistake.lesson_title}"
    yield f"      to practise it: {', '.join(item.exercise for item in mistake.follow_up.items)}"


def _learner(line: LearnerLine) -> str:
    name = f"{line.member.number} {line.member.name}".strip()
    words = f"{name}: {line.right} right, {line.wrong} wrong, {line.open} open"
    if line.places and not line.submitted:
        words = f"{name}: not submitted, {line.open} open"
    return words + (f", {line.excused} excused" if line.excused else "")


def hundredths(value: float) -> str:
    """A number with two decimals and a proper minus."""
    return f"{value:.2f}".replace("-", "−")


def _span(interval: Interval | None) -> str:
    return f" ({hundredths(interval[0])} to {hundredths(interval[1])})" if interval else ""
