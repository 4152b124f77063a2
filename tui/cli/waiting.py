"""What a person sees while a command computes: on a terminal's stderr, what it does and for how long."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread

SECOND = 1.0


@contextmanager
def waiting(what: str, every_s: float = SECOND) -> Iterator[None]:
    """Say `what` and the seconds since it began, once a second, and take the line away when it ends.

    Nothing is written before the first second has passed, nor where stderr is a file or a pipe.
    """
    if not sys.stderr.isatty():
        yield
        return
    ended = Event()
    teller = Thread(target=_tell, args=(what, ended, every_s), name="waiting", daemon=True)
    teller.start()
    try:
        yield
    finally:
        ended.set()
        teller.join()


def _tell(what: str, ended: Event, every_s: float) -> None:
    line = ""
    passed = 0
    while not ended.wait(every_s):
        passed += 1
        line = f"{what}: {passed} s"
        sys.stderr.write(f"\r{line}")
        sys.stderr.flush()
    sys.stderr.write("\r" + " " * len(line) + "\r" if line else "")
    sys.stderr.flush()
