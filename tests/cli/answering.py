"""Answer at the door as a daemon does that has a forecast of each freezer."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any


def rows(*hours: tuple[float | None, float | None, float | None], where: str = "food") -> list[dict[str, Any]]:
    """Return rows for the levels of the forecast, the coldest first."""
    levels = (-12.0, -9.4, -6.7, 0.0, 4.4)
    return [
        {"where": where, "level_c": level, "early_h": early, "likely_h": likely, "late_h": late}
        for level, (early, likely, late) in zip(levels, hours, strict=True)
    ]


NOW = "2026-11-25T14:10:00.000+00:00"
RESERVE = [
    *rows((2, 4, 8), (4, 8, 16), (8, 14, 30), (40, 70, None), (70, 120, None), where="probe"),
    *rows((5, 12, 20), (14.4, 24, 39.2), (20, 30, 50), (60, 110, None), (80, 140, None)),
]
LEFT = [
    *rows((0, 0, 0), (0.5, 1, 2), (6, 9, 20), (40, 70, None), (70, 120, None), where="probe"),
    *rows((0, 0, 0), (6.3, 9, 13.2), (12, 16, 30), (70, 110, None), (90, 140, None)),
]
CALM: dict[str, Any] = {
    "id": "shed-chest", "name": "Shed chest", "kind": "chest", "volume_l": 400.0, "kg": {"meat": 60.0, "bread": 8.0},
    "told": True, "room_c": 19.5, "air_c": -18.4, "state": "as usual", "since": None, "reserve": RESERVE,
    "forecast": RESERVE, "at": "2026-11-25T14:10:00.000+00:00",
    "cause": {"label": "normal", "sure": "likely", "held": True, "since": None},
    "cycles": {"period_s": 2700.0, "duty": 0.36, "starts_per_day": 32.0}, "food_c": {"top": -17.9, "bulk": -19.1},
    "calibrated": False, "learnt": [], "test": None, "ageing": [],
}  # fmt: skip
WARM = CALM | {
    "state": "warming", "since": "2026-11-25T11:10:00.000+00:00", "forecast": LEFT, "air_c": -10.2,
    "cause": {"label": "power", "sure": "likely", "held": True, "since": "2026-11-25T11:15:00.000+00:00"},
}  # fmt: skip
TEST = {"began": "2026-11-25T13:00:00.000+00:00", "until": "2026-11-25T16:00:00.000+00:00"}


class Answering:
    """Answer at the door; `asked` are the requests."""

    def __init__(self) -> None:
        """Begin with a calm chest."""
        self.freezers: list[dict[str, Any]] = [dict(CALM)]
        self.units, self.now = "°C", NOW
        self.heard: int | None = None  # how long ago the shed chest was heard (ms)
        self.asked: list[dict[str, Any]] = []

    def __call__(self, _door: Path, request: dict[str, Any], _patience: float = 30.0) -> Iterator[dict[str, Any]]:
        """Answer one request."""
        self.asked.append(request)
        match request["ask"]:
            case "status":
                heard = [{"id": "shed-chest", "heard_ago": self.heard}]
                yield {"units": self.units, "at": self.now, "freezers": heard}
            case "forecast":
                yield {"freezers": self.freezers}
            case "order":
                yield {"done": True, "text": "Switch Shed chest off now."}

    @property
    def orders(self) -> list[dict[str, Any]]:
        """Return the orders that were given."""
        return [request for request in self.asked if request["ask"] == "order"]
