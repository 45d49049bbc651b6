"""Prints 30 learners x 20 problems and the key, ours or the finished source alone: its seconds and megabytes as JSON.

Run in a process of its own, since the compiler keeps what it has once set.  What is drawn beforehand is the same.
The seconds are the processor's, of all threads together: other work on the machine does not count.
"""

import json
import re
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import typst

from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.sets.snapshots import assigned_from
from tutor.classroom.sheets import pdf
from tutor.classroom.sheets.build import learner_key, learner_sheet, style_of
from tutor.content.library import load
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine

LEARNERS, PROBLEMS = 30, 20


def handed_out(engine):
    """Every learner with 20 problems of as many exercises, spread over the catalogue."""
    ids = [id_ for id_, one in engine.library.exercises.items() if "us" in getattr(one, "rulebooks", ["us"])]
    spread = [ids[at * len(ids) // PROBLEMS] for at in range(PROBLEMS)]
    for learner in range(1, LEARNERS + 1):
        member = Member(id=learner, name=f"Learner {learner}", number=str(learner))
        problems = [
            (f"L{learner:02}-{at:02}", make_problem(engine, id_, None, learner)) for at, id_ in enumerate(spread)
        ]
        yield member, [(assigned_from(problem, member, 1, code), problem) for code, problem in problems]


def ours(style, everyone):
    """From the problems to both files."""
    sheets = [learner_sheet(member, problems) for member, problems in everyone]
    keys = [learner_key(member, problems) for member, problems in everyone]
    return pdf.sheets_pdf(style, sheets), pdf.key_pdf(style, keys)


def finished_sources(style, everyone, folder):
    """Each template with its data written into it: what is left for typst alone."""
    look = (pdf.TEMPLATES / "look.typ").read_text()
    people = {
        "learners.typ": [learner_sheet(member, problems) for member, problems in everyone],
        "key.typ": [learner_key(member, problems) for member, problems in everyone],
    }
    people["strip.typ"] = people["key.typ"]
    for template, whose in people.items():
        literal = json.dumps(pdf.inputs(style, whose)["data"], ensure_ascii=False)
        body = (pdf.TEMPLATES / template).read_text().replace('#import "look.typ": *\n', "")
        (folder / template).write_text(look.replace("sys.inputs.data", literal) + body)
    return sorted(folder.glob("*.typ"))


def most_memory():
    """The most that this process held (MB); the usage that the system counts would start from the parent's."""
    status = Path("/proc/self/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) / 1024


def main(which):
    engine = Engine(load())
    everyone = list(handed_out(engine))
    practice = PracticeSet(id="a-term", title="A term", items=[Item(exercise="array-current", problems=PROBLEMS)])
    style = style_of(practice, engine.library, date(2026, 1, 12))
    with tempfile.TemporaryDirectory() as name:
        sources = finished_sources(style, everyone, Path(name)) if which == "typst" else []
        compiler = typst.Compiler(root=name, font_paths=[str(pdf.FONTS)], ignore_system_fonts=True)
        began = time.process_time()
        made = [compiler.compile(str(source)) for source in sources] or ours(style, everyone)
        seconds = time.process_time() - began
    megabytes = most_memory()
    print(json.dumps({"seconds": seconds, "megabytes": megabytes, "sizes": [len(one) for one in made]}))


if __name__ == "__main__":
    main(sys.argv[1])
