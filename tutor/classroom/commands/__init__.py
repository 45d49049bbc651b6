"""The class from the shell: a term can be run from a script.

Each command imports what it needs when it runs.
"""

from collections.abc import Sequence

import click

from tutor.classroom.commands.desk import desk_code, passphrase
from tutor.classroom.commands.exams import exam
from tutor.classroom.commands.exports import export, report
from tutor.classroom.commands.handed import handed
from tutor.classroom.commands.marking import hand_out, markall, remark
from tutor.classroom.commands.people import erase_learner, release_learner, roster, slips, where
from tutor.classroom.commands.sets import sets
from tutor.classroom.commands.sheets import sheet

CLASS_COMMANDS: Sequence[click.Command] = (
    sets,
    exam,
    roster,
    slips,
    hand_out,
    sheet,
    where,
    markall,
    handed,
    remark,
    report,
    export,
    passphrase,
    desk_code,
    release_learner,
    erase_learner,
)
