"""Know what the daemon knows of each freezer; where it is not running, what it knew last."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gatewayd.cli import house
from gatewayd.clock import SystemClock
from gatewayd.model.moment import Moment, from_wall, iso, to_wall
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.settings.faults import SettingsError
from gatewayd.settings.typed import Settings
from gatewayd.watch.holding import Case, case_of

if TYPE_CHECKING:
    from gatewayd.watch.watch import Watch


@dataclass(frozen=True, slots=True)
class Known:
    """Hold the freezers as the door answers them, the household's scale and zone, and the present moment.

    `heard` says how long ago (ms) each was heard. `last` is when the daemon knew this, None while it runs.
    """

    freezers: list[dict[str, Any]]
    units: TemperatureUnit
    zone: tzinfo
    now: Moment
    heard: Mapping[str, int] = field(default_factory=dict)
    last: Moment | None = None

    @property
    def plain(self) -> dict[str, Any]:
        """Return what says to a program that this is not of now, nothing while the daemon runs."""
        return {} if self.last is None else {"running": False, "known_at": iso(self.last.wall, self.zone)}

    def case(self, row: dict[str, Any]) -> Case:
        """Return what there is to say of one of the freezers."""
        heard = self.heard.get(row["id"])
        return case_of(row, self.now, self.units, self.zone, heard, last=self.last is not None)

    @property
    def words(self) -> str:
        """Say that this is not of now, and how old it is; nothing while the daemon runs."""
        if self.last is None:
            return ""
        ago = show_span(max(0, self.now.wall - self.last.wall))
        when = f"{from_wall(self.last.wall).astimezone(self.zone):%a %d %b %H:%M}"
        return (
            f"gatewayd is not running; {house.START_IT}\n"
            f"This is what it knew last ({when}, {ago} ago). Where a freezer warmed, the time since is counted off; if "
            "the power failed then, count it off the others too."
        )


def known(settings_file: Path | None, freezer: str = "", *, order: bool = False) -> Known:
    """Return what is known of all freezers or of one; exit with a sentence where nobody knows, or there is no such.

    Before an `order` only the running daemon will do.
    """
    found = _now(settings_file)
    if found is None and order:
        house.refuse(f"gatewayd is not running; nothing changed; {house.START_IT}", house.NOT_RUNNING)
    found = found or _last(settings_file)
    if not freezer:
        return found
    mine = [one for one in found.freezers if one["id"] == freezer]
    if not mine:
        ids = ", ".join(one["id"] for one in found.freezers) or "none"
        house.refuse(f"There is no freezer {freezer!r}; there are: {ids}.")
    return Known(mine, found.units, found.zone, found.now, found.heard, found.last)


def _now(settings_file: Path | None) -> Known | None:
    """Return what the daemon answers, None where it is not running."""
    door = house.socket(settings_file)
    answer = house.question(door, {"ask": "forecast"})
    if answer is None:
        return None
    if "freezers" not in answer:
        house.refuse(answer.get("error") or answer.get("text") or "gatewayd gave no forecast.")
    status = next(house.knock(door, {"ask": "status"}))
    at = datetime.fromisoformat(status["at"])
    heard = {one["id"]: one["heard_ago"] for one in status.get("freezers", ()) if one.get("heard_ago") is not None}
    zone = _zone(settings_file) or at.tzinfo
    if zone is None:
        house.refuse("gatewayd answered with a time that has no zone.")
    return Known(answer["freezers"], TemperatureUnit(status["units"]), zone, Moment(to_wall(at), to_wall(at)), heard)


def _zone(settings_file: Path | None) -> tzinfo | None:
    """Return the house's zone, None while the settings are half edited: the answer's own offset is of now only."""
    try:
        return house.read_settings(settings_file, secrets=False).house.zone
    except SettingsError:
        return None


def _last(settings_file: Path | None) -> Known:
    """Return what the daemon knew last, from the store's file."""
    from gatewayd.watch.forecast import forecast

    settings = house.settings_or_exit(settings_file)
    found = last_watch(settings) if settings.storing.path.exists() else None
    if found is None:
        house.refuse(f"gatewayd is not running, and has not watched anything yet; {house.START_IT}", house.NOT_RUNNING)
    watch, at = found
    for who, carried in watch.carried.items():
        watch.pictures[who].outlook = carried
    rows: list[dict[str, Any]] = forecast(watch, at)["freezers"]
    for row in rows:
        outlook = watch.carried.get(row["id"])
        if outlook is not None and outlook.since is not None:
            row["since"] = iso(outlook.since.wall, settings.house.zone)
    now = SystemClock().now()
    return Known(rows, settings.house.units, settings.house.zone, Moment(now.wall, now.wall), last=at)


def last_watch(settings: Settings) -> "tuple[Watch, Moment] | None":
    """Return the watch as of the last snapshot in the store's file, and when that was; None where there is none."""
    from gatewayd.store.row import boots
    from gatewayd.watch.memory import restore
    from gatewayd.watch.watch import Watch

    with house.reader(settings) as conn:
        row = conn.execute("SELECT text, at, steady, boot FROM snapshot").fetchone()
        if row is None:
            return None
        at = Moment(row[1], row[2], boots(conn)[row[3]].name)
    watch = Watch(settings.house, at)
    restore(watch, row[0], at)
    return watch, at
