"""Name the pages behind the lock, in the order of the menu."""

from gatewayd.clock import Clock
from gatewayd.web.defrost import Defrost
from gatewayd.web.due import Dues
from gatewayd.web.frost import Frost
from gatewayd.web.home import Home
from gatewayd.web.live import Live
from gatewayd.web.now import Now
from gatewayd.web.paint import Paint
from gatewayd.web.server import Part
from gatewayd.web.wiring import Wiring


def pages(home: Home, paint: Paint, clock: Clock, wiring: Wiring) -> list[Part]:  # noqa: ARG001 - TEMP
    """Return all pages of a house; `clock` is this computer's own, for what waits."""
    return [
        Now(home, paint),
        Defrost(home, paint),
        Frost(home, paint),
        Dues(home, paint),
        Live(home, clock),
    ]
