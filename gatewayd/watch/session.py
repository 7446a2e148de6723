"""What is kept of a defrost that runs, also over a restart."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from gatewayd.message.words import listed
from gatewayd.model.chore import Chore, Kind
from gatewayd.model.event import Fact
from gatewayd.model.moment import Moment, between
from gatewayd.upkeep.defrost import KEYS


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

    def chore(self, who: str, value: float | None, lasted: int, at: Moment) -> Chore:
        """Return the line of what was done to freezer `who`: times (wall ms, ms), temperatures (°C), steps, the ice.

        `value` is its air at the end, `lasted` how long it took, `at` when it was cold again.
        """
        out = self.out or self.began
        facts: dict[str, Fact] = {
            "began": self.began.wall,
            "lasted": lasted,
            "cold_at": at.wall,
            "before": self.before,
            "warmest": self.warmest,
            "after": value,
            "food_out": None if self.back is None else between(out, self.back),
            "steps": ",".join(self.steps),
            "ice": self.ice or None,
        }
        return Chore(0, who, Kind.DEFROSTED, (self.ended or at).wall, self.ended_by or self.who, facts)


def unclear(word: str, freezers: Sequence[str], running: Sequence[str], *, begins: bool) -> str:
    """Say why `word` names no freezer: of those there are (ids), or of those that are being defrosted."""
    if not word and not begins:
        if not running:
            return "None is being defrosted. Nothing changed. Begin with: gatewayd defrost start FREEZER"
        number = "Two" if len(running) == 2 else str(len(running))
        return f"{number} are being defrosted: say which, {listed(list(running))}. Nothing changed."
    known = ", ".join(freezers) or "none"
    if word in KEYS and not begins:
        which = running[0] if len(running) == 1 else "FREEZER"
        wished = f"gatewayd defrost step {which} {word}"
        return f"{word!r} is a step and no freezer; say the freezer first. For instance: {wished}"
    return f"There is no freezer {word!r}; there are: {known}."
