"""The real daemon and a warm freezer: the spell opens by itself, its food is decided on, and the alarm ends by that."""

from pathlib import Path

import pytest

from tests.rigs.broker import Mosquitto
from tests.rigs.gateway import Gateway
from tests.rigs.publisher import Publisher

pytestmark = pytest.mark.rig


def state(gateway: Gateway) -> list[str]:
    """Return the state of the alarm that is listed."""
    return [alarm["state"] for alarm in gateway.ask("alarms")["alarms"] if alarm["kind"] == "highhigh"]


def test_from_warm_to_decided(tmp_path: Path) -> None:
    """A spell is shown while it runs; when all of its food is decided on, the latched alarm is over."""
    with (
        Mosquitto() as broker,
        Publisher(broker) as sensor,
        Gateway(tmp_path, broker, on_delay="2 s, highhigh_on_delay: 2 s") as gateway,
    ):

        def sends(value: float, condition: object, what: str) -> None:
            def step() -> bool:
                sensor.send("house/shed", f"{value}")
                return bool(condition())  # type: ignore[operator]

            gateway.wait(step, what, 40)

        sends(-18.0, lambda: True, "cold")
        box = gateway.command("stock", "box", "Top basket", "--in", "shed-chest")
        assert box.returncode == 0, box.stderr
        for food in ("2 bags of trout, 1 kg, top basket", "3 loaves of bread, 500 g, top basket"):
            added = gateway.command("stock", "add", food)
            assert added.returncode == 0, added.stderr
        sends(6.0, lambda: state(gateway) == ["unacknowledged"], "much too warm")
        spell = gateway.ask("excursion", "list")[0]
        assert (spell["ended"], spell["packages"], spell["to_decide"]) == (None, 2, 2)
        number = str(spell["number"])
        sends(-20.0, lambda: state(gateway) == ["latched, unacknowledged"], "cold again")
        sends(-20.0, lambda: gateway.ask("excursion", "list")[0]["ended"] is not None, "over")

        early = gateway.command("excursion", "decide", number, "--all", "--keep")
        assert early.returncode == 1
        assert "does not let you keep" in early.stderr
        answered = gateway.command("excursion", "decide", number, "--all", "--warm", "--not-touched")
        assert "throw out trout; keep bread" in answered.stdout, answered.stdout + answered.stderr
        decided = gateway.command("excursion", "decide", number, "--all", "--by-chart")
        assert "the food was checked, " in decided.stdout, decided.stdout + decided.stderr
        assert state(gateway) == []
        assert gateway.ask("excursion", "loss", number)["kg"] == 2.0
        gateway.down()

        shown = gateway.command("excursion", "show", number)  # the file alone is enough to look
        assert "thrown out" in shown.stdout
        refused = gateway.command("excursion", "undo", number)
        assert refused.returncode == 3
        assert "not running; nothing changed" in refused.stderr
