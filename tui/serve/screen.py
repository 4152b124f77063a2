"""The app behind one browser: the same screen, which asks the recorder for its share of control and may only watch."""

import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from textual.dom import DOMNode
from textual.screen import ModalScreen

import tui.app
from logger.errors import Refused
from logger.recorder.client import Client, attach
from logger.recorder.lease import OFF, SHARED
from tui.actions import ACTIONS
from tui.app import RisewalkApp
from tui.serve.served import Served
from tui.sound import Sound
from tui.themes import DUSK, NOON
from tui.walking.opening import Opening, connected, log_to_file

if TYPE_CHECKING:
    from textual.actions import ActionParseResult

LOOKS = frozenset(
    {
        *("next_screen", "last_screen", "units", "sun", "hush", "explain", "command_palette", "leave"),
        *("row_up", "row_down", "layout_up", "layout_down", "why_not", "compare", "scroll_details"),
        *("next_mark", "last_mark", "level"),
        *("replay", "pause", "step", "faster", "slower", "back"),
    }
)
"""Actions of a screen that only watches: they change what it shows and nothing else."""
CHANGES = frozenset(action.name for action in ACTIONS) - LOOKS


async def line_to(opening: Opening, *, control: bool) -> Client:
    """A client of the recorder that shares control, or only watches; it starts a recorder only where it may."""
    client = await connected(opening) if control else await attach(opening.session)
    if client is None:
        raise Refused("not_started", "nobody records this session now; walk it on the computer that serves it")
    answer = await client.ask(f"control {SHARED if control else OFF}")
    if not answer.get("ok"):
        await client.close()
        raise Refused("controlled", "this session's recorder is an older one: end it, and walk again")
    return client


class ServedApp(RisewalkApp):
    """The screens of the job in a browser."""

    CSS_PATH = str(Path(tui.app.__file__).with_name("app.tcss"))

    def __init__(self, served: Served) -> None:
        async def connect(opening: Opening) -> Client:
            return await line_to(opening, control=served.control)

        super().__init__(served.opening, connect, brief=served.brief, theme=DUSK if served.dark else NOON)
        self._control = served.control

    async def run_action(
        self,
        action: "str | ActionParseResult",
        default_namespace: DOMNode | None = None,
        namespaces: Mapping[str, DOMNode] | None = None,
    ) -> bool:
        """Do an action; one that would change something is refused where this only watches."""
        name = action.partition("(")[0].rpartition(".")[2] if isinstance(action, str) else action[1]
        asks = default_namespace is not None and isinstance(default_namespace.screen, ModalScreen)
        if not self._control and name in CHANGES and not asks:
            self.sounder.play(Sound.REFUSED)
            self.notify("This screen only watches.", severity="warning", markup=False)
            return True
        return await super().run_action(action, default_namespace, namespaces)

    def action_leave(self) -> None:
        """Leave at once where there is nothing to end."""
        if self._control:
            super().action_leave()
        else:
            self.exit("")


def main() -> None:
    """Run until the browser goes; stdin and stdout are the server's, and what goes wrong is said in the log."""
    log = log_to_file().open("ab")
    os.dup2(log.fileno(), sys.stderr.fileno())
    app = ServedApp(Served.of(sys.argv[1]))
    app.run()
    sys.exit(app.return_code or 0)


if __name__ == "__main__":
    main()
