"""Name the pages behind the lock, in the order of the menu."""

from collections.abc import Callable

from gatewayd.clock import Clock
from gatewayd.web.add import Add
from gatewayd.web.box import BoxPages
from gatewayd.web.defrost import Defrost
from gatewayd.web.due import Dues
from gatewayd.web.file import File
from gatewayd.web.first import First
from gatewayd.web.freezer import FreezerPages
from gatewayd.web.frost import Frost
from gatewayd.web.happened import Happened
from gatewayd.web.hearing import Hearing
from gatewayd.web.home import Home
from gatewayd.web.ice import IcePages
from gatewayd.web.labels import Labels
from gatewayd.web.limits import Limits
from gatewayd.web.live import Live
from gatewayd.web.log import log_pages
from gatewayd.web.month import Month
from gatewayd.web.nearby import NearbyPages
from gatewayd.web.now import Now
from gatewayd.web.paint import Paint
from gatewayd.web.paper import Paper
from gatewayd.web.people import People
from gatewayd.web.printing import Printing
from gatewayd.web.report import Reports
from gatewayd.web.sensors import Sensors
from gatewayd.web.server import Part
from gatewayd.web.stock import Stock
from gatewayd.web.walk import Walk
from gatewayd.web.wiring import Wiring


def pages(
    home: Home, paint: Paint, clock: Clock, wiring: Wiring, hearing: Hearing, begins: Callable[[], str]
) -> list[Part]:
    """Return all pages of a house.

    `clock` is this computer's own, for what waits; `begins` says how the address of every page begins.
    """
    return [
        Now(home, paint),
        FreezerPages(home, paint),
        Defrost(home, paint),
        Frost(home, paint),
        Dues(home, paint),
        People(home, paint, wiring),
        Limits(home, paint, wiring),
        Sensors(home, paint, wiring),
        NearbyPages(home, paint, wiring, hearing),
        IcePages(home, paint),
        Stock(home, paint),
        Add(home, paint),
        File(home, paint),
        BoxPages(home, paint),
        First(home, paint),
        Paper(home, paint),
        Labels(home, paint, begins),
        *log_pages(home, paint),
        Happened(home, paint),
        Walk(home, paint),
        Reports(home, paint),
        Month(home, paint),
        Printing(home, paint),
        Live(home, clock),
    ]
