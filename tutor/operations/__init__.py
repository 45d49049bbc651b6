"""What an instructor does, once: each operation is one function, called by the desk and by a command of the shell.

Each command imports what it needs when it runs.
"""

from tutor.operations import backups, entry, exams, exports, handed, marking, people, sets, sheets
from tutor.operations.command import CLASS_COMMANDS

__all__ = ["CLASS_COMMANDS", "backups", "entry", "marking", "people", "sheets"]

for group in (sets.sets, exams.exam, handed.handed, exports.export):
    CLASS_COMMANDS.add_command(group)
