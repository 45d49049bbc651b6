"""Proving a folder of content that anybody may have written: in a process of its own, once for each file's content."""

import signal
from collections.abc import Iterator, Sequence
from contextlib import suppress
from multiprocessing import Pipe, Process
from multiprocessing.connection import Connection
from pathlib import Path
from time import monotonic

from tutor.base import cache
from tutor.base.paths import content_root
from tutor.content.errors import ContentError
from tutor.content.figures import Sweep
from tutor.content.files import read_text
from tutor.content.library import Library, contents, load, some_files

_PROVED = "proved-files.txt"
MOST_PROVED = 4000  # marks of 64 letters
SECONDS_FOR_ONE = 15  # the slowest built-in exercise takes one
SECONDS_FOR_ALL = 60
MOST_MEMORY = 4 << 30  # bytes of addresses; what libraries reserve and never touch is among them


def load_proved(extra: Path | None = None) -> Library:
    """Read all content and prove exercises and figures of a folder of the user's own; tests prove the built-in ones.

    Raises ContentError with file, line and mend for the first fault.
    """
    library = load(extra)
    if extra is None:
        return library
    marks, proved = _marks(library, extra), _proved()
    changed = [path for path, mark in marks.items() if mark not in proved]
    if not changed:
        return library
    for path, fault in zip(changed, proofs(changed, extra), strict=True):
        if fault is not None:
            raise fault
        proved.append(marks[path])
    cache.write(_PROVED, "\n".join(proved[-MOST_PROVED:]).encode())
    return library


def _proved() -> list[str]:
    """The marks of what was proved before, the latest last."""
    return (cache.read(_PROVED) or b"").decode(errors="replace").split()


def _marks(library: Library, extra: Path) -> dict[Path, str]:
    """Each file of a folder that has to be proved, with the hash of it and of all that it rests on.

    Those are the program and the built-in content, the folder's entries and tables, and the exercises that it names.
    """
    texts = {path: read_text(path).encode() for path in own_files(library, extra)}
    files = {id_: declared.document.path for id_, declared in library.declared.items()}
    rests_on: dict[Path, list[str]] = {
        declared.document.path: declared.exercise.other_methods for declared in library.declared.values()
    }
    rests_on |= {declared.document.path: [] for declared in library.orders.values()}
    for figure in library.figures.values():
        rests_on[figure.document.path] = figure.figure.exercises if isinstance(figure.figure, Sweep) else []
    shared = [text for path, text in texts.items() if path not in rests_on]
    shared += [read_text(path).encode() for path in some_files(extra, "assets/tables/*")]
    beneath = cache.hashed([cache.code_version(), *contents(content_root()), *shared]).encode()
    return {
        path: cache.hashed(
            [beneath, str(path).encode(), text, *(texts.get(files[id_], b"") for id_ in rests_on.get(path, ()))]
        )
        for path, text in texts.items()
    }


def own_files(library: Library, extra: Path | None) -> list[Path]:
    """The files of a folder of the user's own that have to be proved: its entries by ids, exercises and figures."""
    if extra is None:
        return []
    entries = {
        origin.document.path: None for origin in library.origins.values() if origin.document.path.suffix == ".yaml"
    }
    return [path for path in entries if path.is_relative_to(extra)]


def proofs(paths: Sequence[Path], extra: Path | None) -> Iterator[ContentError | None]:
    """Prove exercise files that anybody may have written, beside the content of `extra`: a fault or None for each.

    What a file may ask of the symbolic algebra has no bound that can be told by looking at it.  So another process
    works it out, and is ended where that takes too long; what it has done in time, this process can do again.
    """
    from tutor.problems import declaration  # noqa: F401, PLC0415 - sympy and pint, before the clock of the first file

    left = list(paths)
    ends = monotonic() + SECONDS_FOR_ALL
    while left and monotonic() < ends:
        receiving, sending = Pipe(duplex=False)
        prover = Process(target=_prove_each, args=(left, extra, sending), daemon=True)
        prover.start()
        sending.close()
        try:
            while left:
                seconds = min(SECONDS_FOR_ONE, ends - monotonic())
                path = left.pop(0)
                if not receiving.poll(max(0.0, seconds)):
                    yield _too_slow(path, ends - monotonic() > 0)
                    break
                fault = receiving.recv()
                yield ContentError(*fault) if fault else None
        except EOFError:  # the system has ended it, for want of memory
            yield _too_slow(path, True)
        finally:
            prover.kill()
            prover.join()
            receiving.close()
    yield from (_too_slow(path, False) for path in left)


def _too_slow(path: Path, alone: bool) -> ContentError:
    if alone:
        fault = f"checking this exercise takes more than {SECONDS_FOR_ONE} s, or too much memory."
        return ContentError(path, 1, fault, "Use fewer and shorter relations, lower powers, and fewer asks.")
    return ContentError(path, 1, f"checking this folder takes more than {SECONDS_FOR_ALL} s.", "Split the folder.")


def _prove_each(paths: Sequence[Path], extra: Path | None, answers: Connection) -> None:
    """Work in the process of its own: send what is wrong with each file, or None."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is for the process that waits, which ends this one
    bound_memory()
    from tutor.problems import declaration  # noqa: PLC0415 - where a process does not begin as a copy

    library = load(extra)
    for path in paths:
        try:
            declaration.prove(library, path)
            answers.send(None)
        except ContentError as error:
            answers.send((error.path, error.line, error.fault, error.mend))
        except Exception as error:  # whatever a foreign file leads to is a fault of the file
            fault = f"the exercise cannot be calculated ({type(error).__name__})."
            answers.send((path, 1, fault, "Use simpler relations and smaller numbers."))


def bound_memory() -> None:
    """Let this process have so much memory and no more, where the system can do that (Windows cannot)."""
    with suppress(ImportError, OSError, ValueError):
        import resource  # noqa: PLC0415 - not there on Windows

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
