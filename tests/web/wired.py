"""The wiring of the open house: a real settings file, a real house.yaml; messages go to a sender of the test's."""

import asyncio
from dataclasses import dataclass, field
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.daemon.failing import Failing
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.household import Force, Household
from gatewayd.daemon.routes import Passed
from gatewayd.model.given import Remark, Rewired
from gatewayd.settings.load import load
from gatewayd.settings.typed import Settings
from tests.fakes.sender import FakeSender

OWN = """\
site: {id: heron-lane, name: Heron Lane, time_zone: UTC}
freezers:
  shed-chest: {name: Shed chest, sensors: [shed-chest-air]}
sensors:
  shed-chest-air: {name: shed-chest probe, broker: home, topic: air/shed-chest}
brokers:
  home: {name: Home broker, host: broker.test, tls: yes, user: keeper, password: "${BROKER_WORD}"}
people:
  ann: {name: Ann, told_by: [ann-mail]}
  ben: {name: Ben, told_by: [ben-mail], told_from: high}
routes:
  ann-mail: {mail: {host: mail.test, from: watch@heron.test, to: ann@heron.test}}
  ben-mail: {mail: {host: mail.test, from: watch@heron.test, to: ben@heron.test, user: ben, password: "${MAIL_WORD}"}}
telling: {note: off, test: off}
"""
ENV = {"BROKER_WORD": "kestrel-77", "MAIL_WORD": "plover-31"}


@dataclass
class Wired:
    """Hold the wiring and what can be looked at behind it; `against` are faults that the daemon would find."""

    folder: Path
    gateway: Gateway
    clock: Clock
    own: str = OWN
    sender: FakeSender = field(default_factory=FakeSender)
    against: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Write the keeper's own file and put it in force."""
        self.file = self.folder / "gatewayd.yaml"
        self.house_file = self.folder / "house.yaml"
        self.file.write_text(self.own)
        self.settings = load([self.file], env=ENV, state_dir=self.folder)
        self.gateway.give(Rewired(self.settings.house))
        force = Force(lambda: self.settings, self._against, self._take, asyncio.Lock())
        failing = Failing(self.sender, self.gateway, self.clock, Passed(self.folder))
        self.gateway.mailbag.failed = failing.failed
        self.wiring = Household(force, ENV, self.folder, failing, self.clock)

    async def _against(self, settings: Settings) -> list[str]:
        return self.against

    async def _take(self, settings: Settings, text: str) -> None:
        self.settings = settings
        self.gateway.give(Rewired(settings.house))
        self.gateway.give(Remark(settings.house.id, "settings", text))
