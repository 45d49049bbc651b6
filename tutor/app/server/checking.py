"""Checks workings in a process of its own, which can be ended, so that nobody's working holds up another's page.

Who has used least of it comes first, and of those the shortest working.  The process begins when a page first needs
it, and is replaced if it had to be ended.
"""

import atexit
import gc
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from tutor.base.errors import FaultyRequestError

if TYPE_CHECKING:
    from tutor.answers.working.verdicts import Working
    from tutor.app.address import Address
    from tutor.problems.question import Engine

CAN_BE_ENDED = hasattr(signal, "setitimer")
_log = logging.getLogger(__name__)

# In seconds of processor time: a usual working takes a hundredth of the first.
OF_A_WORKING = 2.0
OF_A_LEARNER = 20.0
WINDOW = 600.0  # s after which every learner's account begins again
LONGEST_WAIT = 30.0  # s on the clock
LOOKS = 0.05  # s between two looks whether the learner is still there
NICE = 5  # pages come first

TOO_LONG = (
    "Checking these lines takes too long, so they are not marked. Split them into shorter workings, and leave out the "
    "lines that are not needed."
)
USED_UP = (
    "You have used up the checking time for now. Your lines are kept. Wait ten minutes, and select Check the lines "
    "again."
)
BUSY = "Many workings are waiting to be checked. Your lines are kept. Wait a minute, and select Check the lines again."
FAILED = "These lines could not be checked. They are kept. Change the line that you added last, and try again."

Kind = Literal["judged", "refused", "out of time"]


class CheckingError(FaultyRequestError):
    """A working that was not checked, in a sentence that says what to do."""


@dataclass(frozen=True)
class Asked:
    """The problem of a working, by its address, and the lines."""

    address: "Address"
    text: str


def _verdict(kind: Kind, reply: "Working | str") -> "Working":
    if kind == "out of time":
        raise CheckingError(TOO_LONG)
    if isinstance(reply, str):
        raise CheckingError(reply)
    return reply


class OutOfTime(BaseException):
    """Ends the working at hand in the process that checks."""


def judged(engine: "Engine", request: Asked) -> "tuple[Kind, Working | str]":
    """What comes of a working: its verdict, or why there is none."""
    from tutor.answers.own import own_amounts  # noqa: PLC0415 - not for the pages' side to load
    from tutor.answers.working.judging import check_working  # noqa: PLC0415
    from tutor.problems.problem import Problem  # noqa: PLC0415
    from tutor.problems.problem_factory import make_problem  # noqa: PLC0415

    address = request.address
    try:
        amounts = (
            own_amounts(engine.question(address.exercise, address.ask, address.rulebook), dict(address.own))
            if address.own
            else None
        )
        problem = make_problem(engine, address.exercise, address.ask, address.number, address.rulebook, amounts)
        assert isinstance(problem, Problem)
        return "judged", check_working(problem, request.text)
    except FaultyRequestError as error:
        return "refused", str(error)
    except Exception:
        _log.exception("A working of %s could not be checked", address.exercise)
        return "refused", FAILED


class CheckerInPlace:
    """Checks in the pages' process, where no signal can end a working (Windows): its counted readings end it."""

    def __init__(self, engine: "Engine") -> None:
        self._engine = engine

    def start(self) -> None:
        """There is nothing to begin."""

    def check(self, request: Asked, _learner: str, stay: Callable[[], None]) -> "Working":
        """The verdict on a working, as `Checker.check` gives it."""
        stay()
        return _verdict(*judged(self._engine, request))


class Checker:
    """The process that checks, as pages see it."""

    def __init__(self, content: Path | None) -> None:
        self._content = content
        self._process: subprocess.Popen[bytes] | None = None
        self._pipe: Connection | None = None
        self._turn = threading.Condition()
        self._taken = False
        self._waiting: list[tuple[float, int, int]] = []
        self._spent: dict[str, float] = {}
        self._began = time.monotonic()
        atexit.register(self.end)

    def start(self) -> None:
        """Begin the process, without waiting for it, if there is none."""
        with self._turn:
            if not self._taken:
                self._running()

    def end(self) -> None:
        """End the process at once."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None

    def check(self, request: Asked, learner: str, stay: Callable[[], None]) -> "Working":
        """The verdict on a working; `stay` is called while it is waited for, and what it raises ends the work.

        Raises CheckingError if the lines cannot be checked, or not now.
        """
        deadline = time.monotonic() + LONGEST_WAIT
        self._wait(request, learner, stay, deadline)
        try:
            kind, reply = self._reply(request, learner, stay, deadline)
        finally:
            with self._turn:
                self._taken = False
                self._turn.notify_all()
        return _verdict(kind, reply)

    def _wait(self, request: Asked, learner: str, stay: Callable[[], None], deadline: float) -> None:
        """Wait for this working's turn."""
        with self._turn:
            if time.monotonic() - self._began > WINDOW:
                self._spent, self._began = {}, time.monotonic()
            spent = self._spent.get(learner, 0.0)
            if spent > OF_A_LEARNER:
                raise CheckingError(USED_UP)
            place = (spent, len(request.text), threading.get_ident())
            self._waiting.append(place)
            try:
                while self._taken or place != min(self._waiting):
                    self._turn.wait(LOOKS)
                    stay()
                    if time.monotonic() > deadline:
                        raise CheckingError(BUSY)
                self._taken = True
            finally:
                self._waiting.remove(place)

    def _reply(
        self, request: Asked, learner: str, stay: Callable[[], None], deadline: float
    ) -> "tuple[Kind, Working | str]":
        pipe = self._running()
        try:
            pipe.send(request)
            while not pipe.poll(LOOKS):
                stay()
                if time.monotonic() > deadline:
                    raise CheckingError(BUSY)
            return self._received(pipe, learner)
        except (EOFError, OSError) as error:
            self.end()
            _log.error("The process that checks workings ended: %r", error)
            raise CheckingError(FAILED) from None
        except BaseException:  # the learner has left, or asks for another page: nobody waits for the verdict
            self._interrupt(pipe, learner)
            raise

    def _received(self, pipe: Connection, learner: str) -> "tuple[Kind, Working | str]":
        kind, reply, seconds = pipe.recv()
        self._spent[learner] = self._spent.get(learner, 0.0) + seconds
        return kind, reply

    def _interrupt(self, pipe: Connection, learner: str) -> None:
        """Take the working at hand out of the process; end it if it does not obey."""
        if self._process is not None:
            self._process.send_signal(signal.SIGUSR1)
        with suppress(EOFError, OSError):
            if pipe.poll(1.0):
                self._received(pipe, learner)
                return
        self.end()

    def _running(self) -> Connection:
        if self._pipe is None or self._process is None or self._process.poll() is not None:
            self.end()
            self._pipe, far_end = Pipe()
            command = [sys.executable, "-P", "-m", __name__, str(far_end.fileno()), str(self._content or "")]
            self._process = subprocess.Popen(command, pass_fds=[far_end.fileno()], stdin=subprocess.DEVNULL)
            far_end.close()
        return self._pipe


class _Limit:
    """Ends the working at hand after its processor time, or when the pages say so; nothing between two workings."""

    def __init__(self) -> None:
        self._at_work = False
        for number in (signal.SIGPROF, signal.SIGUSR1):
            signal.signal(number, self._out_of_time)

    def __enter__(self) -> None:
        self._at_work = True
        signal.setitimer(signal.ITIMER_PROF, OF_A_WORKING)

    def __exit__(self, *_: object) -> None:
        self._at_work = False
        signal.setitimer(signal.ITIMER_PROF, 0.0)

    def _out_of_time(self, *_: object) -> None:
        if self._at_work:
            self._at_work = False
            raise OutOfTime


def _serve(pipe: Connection, content: Path | None) -> None:
    """Check one working after the other until the pages' server has gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C reaches the server too, and the pipe then ends
    limit = _Limit()
    import tutor.answers.working.judging  # noqa: F401, PLC0415 - before the first working, and not on the pages' side
    from tutor.content.library import load  # noqa: PLC0415
    from tutor.problems.question import Engine  # noqa: PLC0415

    engine = Engine(load(content))
    gc.freeze()
    os.nice(NICE)  # only now: the first learner waits for what is above

    while True:
        request = pipe.recv()
        start = time.process_time()
        reply: tuple[Kind, Working | str] = ("out of time", "")
        with suppress(OutOfTime), limit:
            reply = judged(engine, request)
        pipe.send((*reply, time.process_time() - start))


if __name__ == "__main__":
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        _serve(Connection(int(sys.argv[1])), Path(sys.argv[2]) if sys.argv[2] else None)
