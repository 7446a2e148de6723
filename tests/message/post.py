"""Deliveries as the outbox holds them."""

from gatewayd.model.delivery import Delivery, Progress
from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority

MADE = Moment(1_795_600_000_000, 3_600_000, "boot-a")


def delivery(
    number: int = 1,
    *,
    route: str = "mail",
    rank: int = 0,
    attempts: int = 0,
    priority: Priority = Priority.HIGH,
    made: Moment = MADE,
    next_try: int | None = None,
    event: int | None = None,
    body: str = "Shed chest is at −9 °C.",
    maybe: bool = False,
    person: str = "ann",
    stage: Stage = Stage.NEW,
    about: tuple[str, str] = ("", ""),
) -> Delivery:
    """Make a delivery of a notice of its own, due when it was made unless said otherwise."""
    event = event or number
    notice = Notice(
        event, person, stage, priority, f"Shed chest is warm (no. {event})", body, made, ("mail", "chat"), *about
    )
    due = made.wall if next_try is None else next_try
    return Delivery(number, notice, route, rank, Progress.WAITING, attempts, due, maybe)
