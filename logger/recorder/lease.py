"""Who may change the session: clients that share control have it one at a time, some only watch.

A client that says nothing of control is the user's own, beside the recorder, and is always obeyed.
"""

from collections.abc import Callable, Hashable

from logger.errors import Refused

LEASE_S = 60.0
OFF, SHARED = "off", "shared"


class Lease:
    """Control taken by the first line that changes something, until its client leaves or does nothing for a while."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._watching: set[Hashable] = set()
        self._sharing: set[Hashable] = set()
        self._holder: Hashable | None = None
        self._used_s = 0.0

    def declare(self, client: Hashable, control: str) -> None:
        """A client says what it may do, `off` or `shared`; one that only watches stays so."""
        if control == OFF:
            self.leave(client)
            self._watching.add(client)
        elif client in self._watching:
            raise Refused("view_only", "this client said that it only watches")
        else:
            self._sharing.add(client)

    def use(self, client: Hashable) -> None:
        """A client wants to change something; Refused `view_only` or `controlled` where it is not its turn."""
        if client in self._watching:
            raise Refused("view_only", "this screen only watches; serve it with --allow-control to tag from it")
        if client not in self._sharing:
            return
        now_s = self._now_s()
        if self._holder not in (None, client) and now_s - self._used_s < LEASE_S:
            words = f"another screen has control; it is free when that one leaves or rests for {LEASE_S:g} s"
            raise Refused("controlled", words)
        self._holder, self._used_s = client, now_s

    def leave(self, client: Hashable) -> None:
        """A client is gone, and its control with it."""
        self._watching.discard(client)
        self._sharing.discard(client)
        if self._holder == client:
            self._holder = None
