"""The command palette: every action of the screen in front, and every screen, found by its words."""

from functools import partial

from textual.command import DiscoveryHit, Hit, Hits, Provider

from tui.actions import JOB, actions_at


class JobCommands(Provider):
    """Actions by what they do."""

    def _all(self) -> list[tuple[str, str]]:
        """Words and action of everything that can be done here."""
        place = getattr(self.screen, "place", None)
        found = [(f"Go to {to}", f"app.go('{to.value}')") for to in JOB if to is not place]
        if place is not None:
            found += [
                (f"{a.does}  ({a.key_shown})", a.target) for a in actions_at(place) if a.name != "command_palette"
            ]
        return found

    async def discover(self) -> Hits:
        """Everything, before anything is typed."""
        for words, action in self._all():
            yield DiscoveryHit(words, partial(self.screen.run_action, action))

    async def search(self, query: str) -> Hits:
        """What fits the words typed."""
        matcher = self.matcher(query)
        for words, action in self._all():
            if (score := matcher.match(words)) > 0:
                yield Hit(score, matcher.highlight(words), partial(self.screen.run_action, action))
