"""Word the note of the week: is all well, how cold was it, what needs a look, what is due."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from gatewayd.model.house import House


@dataclass(frozen=True, slots=True)
class FreezerWeek:
    """Hold one freezer's week: lowest and highest air (°C, None: not heard), what it is now, whether it is watched."""

    name: str
    lowest: float | None = None
    highest: float | None = None
    now: float | None = None
    watched: bool = True


@dataclass(frozen=True, slots=True)
class Week:
    """Hold what the note says. `alarms`, `sensors` and `due` are lines in the owner's words, the worst first."""

    freezers: Sequence[FreezerWeek] = ()
    alarms: Sequence[str] = ()
    sensors: Sequence[str] = ()
    due: Sequence[str] = field(default=())


def write_note(week: Week, house: House) -> tuple[str, str]:
    """Return title (without the house's name) and body of the note."""
    unheard = [f"{freezer.name} has not been heard." for freezer in week.freezers if freezer.watched and _deaf(freezer)]
    bad = [*week.alarms, *unheard]
    if bad:
        title = f"the week: {bad[0]}" if len(bad) == 1 else f"the week: {len(bad)} things to look at"
    else:
        title = "the week: all is well"
    parts = []
    if bad:
        parts.append("To look at:\n" + "\n".join(f"  {line}" for line in bad))
    else:
        parts.append("All is well: no alarm stands, and every freezer is heard.")
    parts.append("Lowest and highest of the air:\n" + "\n".join(f"  {_row(f, house)}" for f in week.freezers))
    if week.sensors:
        parts.append("Sensors:\n" + "\n".join(f"  {line}" for line in week.sensors))
    if week.due:
        parts.append("Due:\n" + "\n".join(f"  {line}" for line in week.due))
    return title, "\n\n".join(parts)


def _deaf(freezer: FreezerWeek) -> bool:
    return freezer.lowest is None


def _row(freezer: FreezerWeek, house: House) -> str:
    if not freezer.watched:
        return f"{freezer.name}: no sensor"
    if freezer.lowest is None or freezer.highest is None:
        return f"{freezer.name}: not heard"
    show = house.units.show
    return f"{freezer.name}: {show(freezer.lowest)} to {show(freezer.highest)}"
