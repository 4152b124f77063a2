"""A D-Bus of our own, so that no test touches the machine's: `dbus-daemon` on a socket in a temporary folder."""

import shutil
import subprocess
from pathlib import Path

import pytest

CONFIGURATION = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-BUS Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow send_type="*"/>
    <allow receive_type="*"/>
    <allow own="*"/>
    <allow user="*"/>
    {denials}
  </policy>
</busconfig>
"""


class PrivateBus:
    """One `dbus-daemon`; `address` is what DBUS_SYSTEM_BUS_ADDRESS must hold."""

    def __init__(self, folder: Path, *, denials: str = "") -> None:
        self.socket = folder / "bus"
        self.address = f"unix:path={self.socket}"
        self._configuration = folder / "bus.conf"
        self._configuration.write_text(CONFIGURATION.format(socket=self.socket, denials=denials))
        self._process: subprocess.Popen[bytes] | None = None

    @staticmethod
    def require() -> None:
        """Skip what cannot be without one."""
        if shutil.which("dbus-daemon") is None:
            pytest.skip("dbus-daemon is not installed (apt install dbus)")

    def start(self) -> None:
        words = ["dbus-daemon", "--nofork", "--print-address=1", f"--config-file={self._configuration}"]
        self._process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert self._process.stdout is not None
        assert self._process.stdout.readline(), "dbus-daemon did not start"

    def send(self, what: int) -> None:
        """Have it killed or stopped; harmless if it is gone."""
        if self._process is not None:
            self._process.send_signal(what)

    def stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.communicate()
