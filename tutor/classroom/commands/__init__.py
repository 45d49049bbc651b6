"""The class from the shell: a term can be run from a script.

Each command imports what it needs when it runs. The commands of sheets, reports and exports are added to this list.
"""

from collections.abc import Sequence

import click

from tutor.classroom.commands.desk import passphrase
from tutor.classroom.commands.marking import hand_out, markall, remark
from tutor.classroom.commands.people import erase_learner, roster
from tutor.classroom.commands.sets import sets

CLASS_COMMANDS: Sequence[click.Command] = (sets, roster, hand_out, markall, remark, passphrase, erase_learner)
