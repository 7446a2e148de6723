"""The commands `defrost` and `frost`: what they print, order and refuse."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from gatewayd.cli import house
from gatewayd.cli.main import cli
from gatewayd.model.event import Event, What
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.store.batch import Batch
from tests.cli.answering import Answering
from tests.cli.household import asked, call, settle

NOW = Moment(1_795_600_000_000, 3_600_000, "boot-a")
STARTED = Batch(NOW, events=[Event(1, NOW, "heron-lane", "start", What.NOTED, Priority.LOW)])


def test_start_shows_the_whole_checklist_and_asks_first(tmp_path: Path, door: Answering) -> None:
    """All nine steps with their cautions are shown, and nothing begins without a yes."""
    file = settle(tmp_path)
    done = CliRunner().invoke(cli, ["defrost", "start", "shed-chest", "--settings", str(file)], input="n\n")

    assert done.exit_code == 1
    assert "9. food-back" in done.output
    assert "No knife, no ice pick, no metal" in done.output
    assert "Nothing was begun." in done.output
    assert door.orders == []


def test_orders_carry_what_was_said(tmp_path: Path, door: Answering) -> None:
    """Start, step and finish order what their words say; a freezer may be left out while only one is defrosted."""
    file = settle(tmp_path)
    assert call(file, "defrost", "start", "shed-chest", "--for", "2 h", "--yes")[0] == 0
    assert call(file, "defrost", "step", "shed-chest", "ice")[0] == 0
    assert call(file, "defrost", "step")[0] == 0
    assert call(file, "defrost", "finish", "--ice", "3 kg")[0] == 0

    said = [(order["verb"], order["subject"], order["why"], order["span"]) for order in door.orders]
    assert said == [
        ("begin defrost", "shed-chest", "", 7_200_000),
        ("defrost step", "shed-chest", "ice", 0),
        ("defrost step", "", "", 0),
        ("end defrost", "", "3 kg", 0),
    ]
    assert all(order["key"] for order in door.orders)


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (("defrost", "start", "shed-chest", "--for", "soon"), 2, "--for"),
        (("defrost", "start", "shed-chest", "--json"), 2, "add --yes"),
        (("frost", "add", "shed-chest", "5"), 2, "has no unit"),
        (("frost", "add", "shed-chest", "5", "mm"), 3, "not running; nothing changed"),
        (("defrost", "start", "shed-chest"), 3, "not running; nothing changed"),
        (("defrost", "finish"), 3, "not running; nothing changed"),
    ],
)
def test_what_cannot_be_done_is_refused(tmp_path: Path, args: tuple[str, ...], code: int, said: str) -> None:
    """Wrong words are exit code 2, a daemon that is not there 3, and nothing is written."""
    got, output = call(settle(tmp_path), *args)
    assert got == code
    assert said in output


def test_plan_and_list_read_the_file_alone(tmp_path: Path) -> None:
    """With nobody running both say what the file knows, which is nothing yet."""
    file = settle(tmp_path, [STARTED])
    found: Any = asked(file, "defrost", "plan")
    assert found["running"] is False
    assert [one["id"] for one in found["freezers"]] == ["shed-chest", "cellar-upright"]
    code, output = call(file, "defrost", "plan", "shed-chest")
    assert code == 0
    assert "no defrost of it is written down" in output
    assert asked(file, "frost", "list") == {"frost": []}
    assert "Nothing is measured yet" in call(file, "frost", "list")[1]
    assert call(file, "defrost", "plan", "attic")[0] == 1


def test_plan_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The plan says why and when, a good day, and how far a defrost is that runs."""
    due = {"why": "frost", "by": "", "overdue": True, "early": None, "late": None, "text": "Overdue: thick."}
    calm = {"id": "a", "name": "A", "last": "2025-11-20T10:00:00", "due": [due], "frost": None, "running": None}
    calm["good_day"] = {"at": "2026-11-28T12:00:00+00:00", "why": "it is cold"}
    busy = {"began": "2026-11-25T09:00:00", "until": "2026-11-25T10:30:00", "food_out": 3_600_000, "next": "lid"}

    def answer(_door: Path, _request: dict[str, Any], _patience: float = 30.0) -> Iterator[dict[str, Any]]:
        yield {"freezers": [calm, {**calm, "id": "b", "name": "B", "running": busy}]}

    monkeypatch.setattr("gatewayd.door.ask", answer)
    code, output = call(settle(tmp_path), "defrost", "plan")
    assert code == 0
    for words in (
        "last defrosted 2025-11-20",
        "Overdue: thick.",
        "A good day: Saturday 28 November 2026, for it is cold.",
    ):
        assert words in output
    assert "being defrosted since 09:00, planned until 10:30" in output
    assert "its food has been out for 1 h; two hours are the most" in output


class Defrosted(Answering):
    """Answer as a daemon does while the shed chest is being defrosted."""

    def __init__(self, began: str, *steps: str) -> None:
        """Take when it began (ISO 8601) and which steps are done; it is 14:10."""
        super().__init__()
        self.defrost: dict[str, Any] = {"began": began, "steps": dict.fromkeys(steps, began), "ended": None}

    def __call__(self, door: Path, request: dict[str, Any], patience: float = 30.0) -> Iterator[dict[str, Any]]:
        """Answer one request."""
        for answer in super().__call__(door, request, patience):
            if request["ask"] == "status":
                answer["freezers"][0]["defrost"] = self.defrost
            yield answer


LONG, SHORT = "2026-11-25T13:00:00.000+00:00", "2026-11-25T14:05:00.000+00:00"


@pytest.mark.parametrize(
    ("began", "steps", "args", "answer", "code", "asks"),
    [
        (LONG, ("ice",), (), "y\n", 0, True),
        (LONG, ("ice",), (), "n\n", 1, True),
        (LONG, (), (), "", 1, True),
        (LONG, (), ("--on",), "", 0, False),
        (LONG, ("ice", "on"), (), "", 0, False),
        (SHORT, (), (), "", 0, False),
        (LONG, ("ice",), ("--json",), "", 2, False),
        (LONG, ("ice",), ("--json", "--on"), "", 0, False),
    ],
)
def test_finish_asks_whether_it_is_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, began: str, steps: tuple[str, ...], args: tuple[str, ...],
    answer: str, code: int, asks: bool,
) -> None:  # fmt: skip
    """Nothing is finished before somebody says that it is on again: by the step, by a yes, or by --on."""
    door = Defrosted(began, *steps)
    monkeypatch.setattr(house, "ask", door)
    done = CliRunner().invoke(cli, ["defrost", "finish", *args, "--settings", str(settle(tmp_path))], input=answer)

    assert done.exit_code == code, done.output
    assert ("Did you SWITCH IT BACK ON?" in done.output) is asks
    assert [order["verb"] for order in door.orders] == ([] if code else ["end defrost"])


def test_cancel_is_ordered(tmp_path: Path, door: Answering) -> None:
    """`defrost cancel` orders the end of which nothing is counted."""
    assert call(settle(tmp_path), "defrost", "cancel", "shed-chest")[0] == 0
    assert [(order["verb"], order["subject"], order["why"]) for order in door.orders] == [
        ("defrost step", "shed-chest", "cancel")
    ]


def test_start_refuses_before_the_checklist(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A freezer that is not there or not in order, or a daemon that is down, is said before nine steps are read."""
    file = settle(tmp_path)
    down = call(file, "defrost", "start", "shed-chest")[1]

    class Warm(Answering):
        def __call__(self, door: Path, request: dict[str, Any], patience: float = 30.0) -> Iterator[dict[str, Any]]:
            for answer in super().__call__(door, request, patience):
                if request["ask"] == "status":
                    answer["freezers"][0]["left_alone"] = "It has been too warm since 20:34."
                yield answer

    door = Warm()
    monkeypatch.setattr(house, "ask", door)
    code, warm = call(file, "defrost", "start", "shed-chest")
    unknown = call(file, "defrost", "start", "attic")[1]

    assert code == 1
    assert "too warm since 20:34" in warm
    assert "There is no freezer 'attic'; there are: shed-chest." in unknown
    assert not any("food-back" in output for output in (down, warm, unknown))
    assert door.orders == []
    assert call(file, "defrost", "start", "shed-chest", "--yes", "--anyway")[0] == 0
    assert [order["why"] for order in door.orders] == ["anyway"]
