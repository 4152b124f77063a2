"""Who may come in: a link that opens once, then a cookie; and only pages of our own may ask. No input, no output."""

import ipaddress
import secrets
import socket
from urllib.parse import urlsplit


class Door:
    """The keys of one server. A link lets one browser in, and is worth nothing after that."""

    def __init__(self, host: str) -> None:
        self._hosts = {"localhost", socket.gethostname().lower(), f"{socket.gethostname().lower()}.local", host.lower()}
        self._token = ""
        self._cookies: set[str] = set()

    def new_token(self) -> str:
        """A token for the next browser; the one before, if nobody used it, opens no more."""
        self._token = secrets.token_urlsafe(16)
        return self._token

    def admit(self, token: str) -> str | None:
        """A cookie for a token that was not used yet."""
        if not self._token or not secrets.compare_digest(token.encode(), self._token.encode()):
            return None
        self._token = ""
        cookie = secrets.token_urlsafe(32)
        self._cookies.add(cookie)
        return cookie

    def knows(self, cookie: str | None) -> bool:
        """Whether this browser was let in."""
        return cookie is not None and cookie in self._cookies

    def is_ours(self, host: str, origin: str | None) -> bool:
        """Whether a request comes for this computer by a name of its own, and from no page but ours."""
        name = urlsplit(f"//{host}").hostname or ""
        return (name in self._hosts or _is_address(name)) and origin in (None, f"http://{host}")


def _is_address(name: str) -> bool:
    """Numbers cannot be made to mean another computer, as a name can."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
