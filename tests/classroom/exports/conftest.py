"""A store of a class that has worked: some right, some wrong, something excused, a draft, a comment."""

import pytest

from tutor.classroom.reports.results import Results


@pytest.fixture
def worked(school, noon):
    """The class of `school` after some work; Čeda has done nothing."""
    first, second = school.work[:2]
    for handed in school.handed[0][:2]:
        entry = f"{handed.answer.split()[0]}" if handed.snapshot.kind(handed.ask) == "count" else "1.234"
        first.answer(handed.place, entry, key=f"a{handed.place}", moment=noon)
    second.answer(2, "77", key="b", moment=noon)
    second.keep_draft(3, school.handed[1][2].ask, "half a thought of Bo")
    second.arrive(3, noon)
    results = Results(school.store, school.of)
    results.excuse(school.handed[1][3].id)
    results.comment(next(o for o in results.outcomes() if o.answers).answers[0].id, "Look at the cold again.")
    return school
