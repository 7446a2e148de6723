"""Write the line at the end of a message by which people say that they have seen an alarm."""

import ipaddress
import socket

from gatewayd.alarm.kinds import KINDS
from gatewayd.clock import Clock
from gatewayd.message.token import LASTS, make
from gatewayd.model.event import Notice, Stage
from gatewayd.settings.typed import Pages

ASKING = (Stage.NEW, Stage.WORSE, Stage.REPEAT)  # who is told of an end or of another's answer need not answer
ANYWHERE = ("", "0.0.0.0", "::")  # noqa: S104 - what the settings say for all addresses of this computer
# RFC 5737 and RFC 3849: addresses for documents, which nobody has. A datagram socket that is connected to one sends
# nothing; the kernel only chooses the address of ours from which it would.
NOWHERE = ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1"))
AT_HOME = " (works at home only)"


class Links:
    """Make the links of one gateway."""

    def __init__(self, key: bytes, pages: Pages, clock: Clock, hostname: str = "") -> None:
        """Take the key of the links, where the pages are, and this computer's name, asked of it where none is given."""
        self._key = key
        self._pages = pages
        self._clock = clock
        self._hostname = hostname or socket.gethostname()

    def line(self, notice: Notice) -> str:
        """Return the line for the end of a notice's text, nothing for one that asks for no answer.

        It counts for a week from now, so it is written when the message is sent.
        """
        kind = KINDS.get(notice.kind)
        if notice.stage not in ASKING or kind is None or not kind.asks:
            return ""
        token = make(self._key, notice.event, notice.person, self._clock.now().wall + LASTS)
        return f"Seen it? Tap: {self.begins()}/seen/{token}{'' if self._pages.address else AT_HOME}"

    def begins(self) -> str:
        """Return how the address of every page begins."""
        if self._pages.address:
            return self._pages.address.rstrip("/")
        return f"http{'s' if self._pages.certificate else ''}://{self._home()}:{self._pages.port}"

    def _home(self) -> str:
        host = self._pages.host
        if host in ANYWHERE:
            host = home_address() or self._hostname
        return f"[{host}]" if ":" in host else host


def home_address() -> str:
    """Return the address by which this computer is found on its network, nothing where it has none."""
    for family, nobody in NOWHERE:
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as probe:
                probe.connect((nobody, 9))
                found = str(probe.getsockname()[0])
        except OSError:  # no way out in this family: a house without a router, or without IPv6
            continue
        if not ipaddress.ip_address(found).is_unspecified:
            return found
    return ""
