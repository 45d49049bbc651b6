"""What can be said of an entry."""

from typing import Literal

EntryVerdict = Literal["refused", "unclear", "wrong"]
"""Of one that is only read: it cannot be marked, has several readings, or measures something else."""
AnswerVerdict = Literal["right", EntryVerdict]
"""Of an answer that is marked."""
StepVerdict = Literal["carried", AnswerVerdict]
"""Of a step on the way; 'carried' is right for the learner's own earlier value."""
RecordedVerdict = Literal[AnswerVerdict, ""]
"""Of an answer that is kept, '' before it is marked."""
