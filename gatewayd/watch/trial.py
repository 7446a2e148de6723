"""What is kept of a planned test switch-off, also over a restart."""

from dataclasses import dataclass

from gatewayd.model.moment import Moment


@dataclass(slots=True)
class SwitchOff:
    """Hold one test: who began it, from when until when it runs, and when it ended (None: it runs).

    `peak` is the warmest (°C) since it ended, `held` says that alarms are still held for it.
    """

    who: str
    began: Moment
    until: Moment
    ended: Moment | None = None
    peak: float | None = None
    held: bool = True
