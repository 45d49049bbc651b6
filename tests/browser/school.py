"""A class with a passphrase, a set and answers in a server's store, put there without the pages."""

from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta

from tutor.app.server.middleware import COOKIE
from tutor.classroom.desk import DeskError, InstructorAuth
from tutor.classroom.models import Item, Member, Outcome, PracticeSet, StoredSet
from tutor.classroom.reports.results import Results
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.views import ForLearner
from tutor.classroom.sets.work import ClassWork
from tutor.content.library import load
from tutor.learner.tokens import Tokens
from tutor.problems.question import Engine
from tutor.store.database import Store

PASSPHRASE = "four words before dawn"
NAMES = ["Ana Ferreira", "Bo Lindqvist", "Čeda Petrović"]
ITEMS = [
    Item(exercise="string-voltage-at-record-low"),
    Item(exercise="most-modules-in-series", problems=2),
    Item(exercise="does-the-string-survive"),
]


class School:
    """The class of one set in a store; `tokens` are the browser tokens of the learners in the order of the names."""

    def __init__(self, address: str, names: list[str] = NAMES, class_name: str = "class", **rules: object) -> None:
        self.address, self.class_name = address, class_name
        fields = {"id": "cold-strings", "title": f"Cold strings of {class_name}", "items": ITEMS, **rules}
        self.engine = Engine(load())
        with closing(Store.open(address)) as store:
            register = Register(store)
            roster = [Member(id=0, name=name, number=str(at)) for at, name in enumerate(names, start=1)]
            self.members = register.enter(roster, class_name).new
            self.of: StoredSet = register.open_set(PracticeSet.model_validate(fields), class_name)
            issue = Tokens(store).issue
            self.tokens = [issue() for _ in names]

    passphrase = PASSPHRASE

    @staticmethod
    def set_passphrase(address: str) -> None:
        """Give the desk its passphrase; all sessions end."""
        with closing(Store.open(address)) as store:
            InstructorAuth(store).set_passphrase(PASSPHRASE)

    @staticmethod
    def wrong_passphrases(address: str, tries: int) -> None:
        """Try wrong passphrases, each as soon as the one before lets it be looked at."""
        moment = datetime.now(UTC) + timedelta(seconds=1)  # there was one a moment ago
        with closing(Store.open(address)) as store:
            for at in range(tries):
                with suppress(DeskError):
                    InstructorAuth(store).enter("wrong every time", moment)
                moment += timedelta(seconds=2 ** (at + 1))

    def cookie(self, at: int, server: str) -> dict[str, str]:
        """The cookie by which the server knows the browser of a learner who has claimed a name."""
        return {"name": COOKIE, "value": self.tokens[at], "url": server}

    def roster(self) -> list[Member]:
        """The members of the class now."""
        with closing(Store.open(self.address)) as store:
            return Register(store).members(self.class_name)

    def sets(self) -> list[StoredSet]:
        """The sets of the class now."""
        with closing(Store.open(self.address)) as store:
            return Register(store).sets(self.class_name)

    def hand_out(self) -> None:
        """Give every member their problems."""
        with closing(Store.open(self.address)) as store:
            hand_out(store, self.engine, self.of)

    def view(self, at: int, place: int) -> ForLearner:
        """What a member sees of a problem."""
        with closing(Store.open(self.address)) as store:
            return ClassWork(store, self.engine, self.of, self.members[at]).view(place)

    def again(self, earlier: Outcome) -> Outcome:
        """How a problem stands now."""
        return next(one for one in self.outcomes() if one.handed.id == earlier.handed.id)

    def outcomes(self) -> list[Outcome]:
        """How everybody stands."""
        with closing(Store.open(self.address)) as store:
            return Results(store, self.of).outcomes()

    def answers(self, right: int, wrong: int) -> None:
        """Let so many members solve the first two places, and so many more leave the cold out at the first."""
        with closing(Store.open(self.address)) as store:
            for at, member in enumerate(self.members[: right + wrong]):
                claims = Claims(store, self.of)
                claims.claim(self.tokens[at], member.name, claims.personal_code(member))
                work = ClassWork(store, self.engine, self.of, member)
                work.begin()
                work.arrive(1)
                if at < right:
                    for place in (1, 2):
                        work.arrive(place)
                        work.answer(place, self.answer_of(store, member, place), key=f"right {place}")
                else:
                    known = work.problem(1).known
                    label = known["module_voc"] * known["modules_in_series"]
                    for tries in range(3):
                        later = datetime.now(UTC) + timedelta(seconds=tries)
                        work.answer(1, f"{label * (1 + tries / 5000):.3f} V", key=f"wrong {tries}", moment=later)

    def answer_of(self, store: Store, member: Member, place: int) -> str:
        from tutor.classroom.reports.results import Results

        handed = [one.handed for one in Results(store, self.of).outcomes()]
        return next(one.answer for one in handed if (one.member.id, one.place) == (member.id, place))
