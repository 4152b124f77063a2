"""What the system says when a serial port cannot be opened, as a sentence with what to do."""

import errno
import os
import platform
from collections.abc import Iterator, Mapping
from pathlib import Path

from drivers.errors import PortBusy, PortDenied, PortError, PortMissing

MISSING = {errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR, errno.EIO, errno.ECONNREFUSED, errno.EHOSTUNREACH}
BUSY = {errno.EBUSY, errno.EAGAIN}
DENIED = {errno.EACCES, errno.EPERM}
NETWORK = ("socket://", "rfc2217://")
NOT_A_LINE = {errno.ENOTTY, errno.EINVAL, errno.EISDIR}


def port_error(port: str, error: Exception) -> PortError:
    """The error of ours that an exception of pyserial or the system stands for."""
    number, text, causes = _errno(error), str(error), list(_causes(error))
    if number in BUSY or "exclusively lock" in text:
        return PortBusy(port, _busy(port))
    if number in DENIED or "PermissionError" in text or "Access is denied" in text:
        return PortBusy(port, _busy(port)) if platform.system() == "Windows" else PortDenied(port, _denied(port))
    if number in NOT_A_LINE:
        return PortMissing(port, "it is there and is no serial port; see risewalk ports")
    if number in MISSING or "FileNotFoundError" in text or "could not open port" in text or "timed out" in text:
        return PortMissing(port, _missing(port))
    if port.lower().startswith(NETWORK) and any(isinstance(c, TypeError | LookupError | ValueError) for c in causes):
        return PortMissing(port, "this is no address; write socket://HOST:PORT or rfc2217://HOST:PORT")
    if isinstance(error, ValueError):
        return PortMissing(port, f"these serial settings cannot be used: {text}")
    return PortMissing(port, f"it cannot be opened: {text or type(error).__name__}")


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def _errno(error: BaseException) -> int | None:
    """The system's number for what went wrong; termios has it among its arguments alone."""
    told = (part for cause in _causes(error) for part in (getattr(cause, "errno", None), *cause.args[:1]))
    return next((part for part in told if isinstance(part, int)), None)


def _missing(port: str) -> str:
    if "://" in port:
        return "nothing answers there; check address, network, and that the server runs"
    return "nothing by that name is plugged in; check the cable, then see risewalk ports"


def _busy(port: str) -> str:
    holders = holders_of(port)
    who = f"{', '.join(holders)} holds it" if holders else "another program holds it (a terminal, a modem service?)"
    return f"{who}; close that first"


def _denied(port: str) -> str:
    if platform.system() == "Linux":
        group = _group(port) or "dialout"
        return f"this user may not open it; run sudo usermod -aG {group} $USER, then log out and in again"
    return "this user may not open it; ask for the right to use serial ports"


def _group(port: str) -> str | None:
    try:
        group = Path(port).group()
    except (OSError, KeyError):
        return None
    return None if group == "root" else group


def holders_of(port: str) -> list[str]:
    """Other programs of this user that have the port open, as `name (process id)`; empty where that cannot be seen."""
    try:
        device = Path(port).resolve()
        processes = [p for p in Path("/proc").iterdir() if p.name.isdigit() and p.name != str(os.getpid())]
    except (OSError, ValueError, RuntimeError):
        return []
    found = []
    for process in processes:
        try:
            open_here = {fd.name: os.readlink(fd) for fd in (process / "fd").iterdir()}
            if str(device) in open_here.values() and not _plays(process, open_here, device):
                found.append(f"{(process / 'comm').read_text().strip()} (process {process.name})")
        except OSError:
            continue
    return found


def _plays(process: Path, open_here: Mapping[str, str], device: Path) -> bool:
    """Whether a process has the far end of this pseudo-terminal: it plays the instrument and holds nobody up."""
    far = [fd for fd, name in open_here.items() if name.endswith("ptmx")]
    index = f"tty-index:\t{device.name}\n"
    return device.parent == Path("/dev/pts") and any(index in (process / "fdinfo" / fd).read_text() for fd in far)
