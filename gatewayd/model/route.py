"""Routes: how a message leaves the house."""

from dataclasses import dataclass, field


class Secret:
    """Hold a secret so that it is not printed or logged by accident."""

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        """Take the secret text."""
        self._text = text

    def reveal(self) -> str:
        """Return the text; only the edge that hands it to a server calls this."""
        return self._text

    def __repr__(self) -> str:
        """Show that there is a secret, and nothing of it."""
        return "Secret(…)"

    def __str__(self) -> str:
        """Show that there is a secret, and nothing of it."""
        return "…"

    def __eq__(self, other: object) -> bool:
        """Compare by text."""
        return isinstance(other, Secret) and self._text == other._text

    def __hash__(self) -> int:
        """Hash by text."""
        return hash(self._text)


@dataclass(frozen=True, slots=True)
class MailRoute:
    """Send by plain SMTP, with the standard library alone: the route that needs nothing else.

    `security` is `starttls` or `tls`; without either a password would travel in the clear, so there is no third.
    `ca` is a file with the certificate authority to trust, or None for the system's.
    """

    host: str
    port: int
    security: str
    sender: str
    to: str
    user: str = ""
    password: Secret = field(default_factory=lambda: Secret(""))
    ca: str | None = None


@dataclass(frozen=True, slots=True)
class UrlRoute:
    """Send by apprise, to the one service and the one recipient that `url` names. `ca` as for mail."""

    url: Secret
    ca: str | None = None


@dataclass(frozen=True, slots=True)
class Route:
    """Name one way out of the house."""

    id: str
    way: MailRoute | UrlRoute
