"""What is kept of a defrost that runs, also over a restart."""

from dataclasses import dataclass, field

from gatewayd.model.moment import Moment


@dataclass(slots=True)
class Session:
    """Hold one defrost: who began it and when, until when it is planned, and the latest end of its quiet.

    `before`, `warmest` and `top` are of the air (°C): at the begin, the warmest since, and the warmest since it settled
    after `asked`, which is from when on it has to cool; `falls` says that it was seen to. `out` and `back` are when the
    food was taken out and put back, `told` how many of the two words about it were said. `steps` maps the steps that
    are done to when (wall ms). `ended` is when somebody said that it is done, `ice` what was removed, in words or a
    weight. `held` says that alarms are still held for it.
    """

    who: str
    began: Moment
    until: Moment
    limit: Moment
    before: float | None = None
    warmest: float | None = None
    top: float | None = None
    falls: bool = False
    settled: bool = False
    asked: Moment | None = None
    out: Moment | None = None
    back: Moment | None = None
    told: int = 0
    steps: dict[str, int] = field(default_factory=dict)
    ended: Moment | None = None
    ended_by: str = ""
    ice: str = ""
    held: bool = True

    def moments(self) -> list[str]:
        """Return the names of the fields that hold a moment."""
        return ["began", "until", "limit", "asked", "out", "back", "ended"]
