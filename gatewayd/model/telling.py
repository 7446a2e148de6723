"""How a household wants to be told: in which order, how often again, and the note of the week."""

from dataclasses import dataclass

from gatewayd.model.moment import HOUR, MINUTE

SUNDAY, SATURDAY = 6, 5  # as date.weekday() counts, Monday 0
EVENING = 18 * 60
FORENOON = 11 * 60


@dataclass(frozen=True, slots=True)
class Weekly:
    """Hold a time of the week: `day` 0 (Monday) to 6, `minute` after local midnight."""

    day: int
    minute: int

    def __post_init__(self) -> None:
        """Refuse a time that no week has."""
        if not (0 <= self.day <= 6 and 0 <= self.minute < 24 * 60):
            raise ValueError("a time of the week is a day 0 to 6 and a minute 0 to 1439")


@dataclass(frozen=True, slots=True)
class Telling:
    """Hold how messages are brought to people; spans in ms.

    `join_within`: what happens within so long is one message. `next_after`: the next person of the list is told when
    nobody has acknowledged for so long, then all; 15 min is a shower or a drive home. `again_high` and `again_medium`
    are the re-alarm times: an alarm that stands is told again, acknowledged or not (OPC 10000-9 B.1.5 has the rule,
    the figures are our choice: a freezer loses about a degree in an hour). `note` is when the note of the week goes
    out, `test` when in the first week of each month the test alarm asks for a tap; None switches either off.
    """

    join_within: int = MINUTE
    next_after: int = 15 * MINUTE
    again_high: int = HOUR
    again_medium: int = 4 * HOUR
    note: Weekly | None = Weekly(SUNDAY, EVENING)
    test: Weekly | None = Weekly(SATURDAY, FORENOON)

    def __post_init__(self) -> None:
        """Refuse spans that would send without end."""
        if min(self.next_after, self.again_high, self.again_medium) < MINUTE:
            raise ValueError("next_after, again_high and again_medium must be at least a minute")
        if not 0 <= self.join_within <= 10 * MINUTE:
            raise ValueError("join_within must be between 0 and 10 min")
