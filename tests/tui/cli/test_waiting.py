"""A command that takes its time says so, on a terminal only, and leaves no trace of it."""

import io
import threading

import pytest

from tui.cli.waiting import waiting


class Terminal(io.StringIO):
    """A stderr that is a terminal and tells when a word has been written to it."""

    def __init__(self) -> None:
        super().__init__()
        self.changed = threading.Condition()

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        with self.changed:
            self.changed.notify_all()
            return super().write(text)

    def wait_for(self, text: str) -> bool:
        with self.changed:
            return self.changed.wait_for(lambda: text in self.getvalue(), timeout=60)


def test_what_takes_long_says_what_it_does_and_goes_away(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    with waiting("adjusting the walk", every_s=0.001):
        assert terminal.wait_for("adjusting the walk: 2 s")
    assert terminal.getvalue().endswith("\r")
    assert terminal.getvalue().split("\r")[-2].strip() == ""


def test_what_is_quick_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    with waiting("adjusting the walk", every_s=3600):
        pass
    assert terminal.getvalue() == ""


def test_nothing_is_said_where_stderr_is_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    file = io.StringIO()
    monkeypatch.setattr("sys.stderr", file)
    before = threading.active_count()
    with waiting("adjusting the walk", every_s=0.001):
        assert threading.active_count() == before
    assert file.getvalue() == ""


def test_an_error_passes_and_the_line_goes(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)

    def spoil() -> None:
        with waiting("reading", every_s=0.001):
            assert terminal.wait_for("reading: 1 s")
            raise ValueError("spoilt")

    with pytest.raises(ValueError, match="spoilt"):
        spoil()
    assert terminal.getvalue().endswith("\r")
