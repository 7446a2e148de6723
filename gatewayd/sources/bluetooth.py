"""Bluetooth: hear the sensors of one adapter, and build the scanner anew whenever it seems to have died.

A scanner dies without a word, so what counts is whether anybody at all is heard. Nothing for `Quiet.span` (90 s
unless the air is known to be quiet): a new scanner. The third failure in a row (start refused for 15 s, or a new
scanner that hears nobody): the adapter is switched off and on. Between tries of a start 1 to 60 s. News of the adapter
(power, plug, service) only shorten the way; without them the same happens, later.
"""

import asyncio
import contextlib
import logging
import random
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from gatewayd.clock import Clock
from gatewayd.model.format import Saying
from gatewayd.model.house import Sensor
from gatewayd.model.reading import Heard
from gatewayd.settings.typed import Radio
from gatewayd.sources.adapter import Adapters, Trouble
from gatewayd.sources.advert import NO_SIGNAL, Advert, Pick, picker
from gatewayd.sources.backoff import Backoff
from gatewayd.sources.gatt import Reader
from gatewayd.sources.intake import Intake
from gatewayd.sources.patience import Patience
from gatewayd.sources.pattern import patterns, unsure
from gatewayd.sources.quiet import Quiet
from gatewayd.sources.scanner import Refused, Scanner

if TYPE_CHECKING:
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

log = logging.getLogger(__name__)

POWER_CYCLE = 3  # every so many failures in a row
LISTENS = "the gateway's radio listens"
HEARS_NOTHING = "the gateway's radio hears nothing from anyone; it is being started anew"
STUMBLED = "something that the gateway's radio heard could not be handed on; the log says what"


class BluetoothSource:
    """Hear the sensors of one radio, for ever. One `run` at a time; it may be run again after it ended."""

    def __init__(
        self,
        radio: Radio,
        sensors: Sequence[Sensor],
        intake: Intake,
        clock: Clock,
        rng: random.Random,
        *,
        on_any: Callable[[Advert], None] | None = None,
        patience: Patience | None = None,
    ) -> None:
        """Take the sensors whose `channel` is the address of a device; several may share an address.

        `on_any` gets everything that is heard, also from strangers, and bounds its own memory; the source keeps
        nothing of a stranger.
        """
        self.id = radio.id
        self._radio = radio
        self._sensors = tuple(sensors)
        self._intake = intake
        self._clock = clock
        self._rng = rng
        self._on_any = on_any
        self._patience = patience or Patience()
        self._adapters = Adapters(self._patience, clock)
        self._backoff = Backoff(rng)
        self._reader = Reader(radio.id, intake, clock, rng, self._patience)
        self._reader.add(self._sensors)
        intervals = [sensor.reports_every for sensor in self._sensors]
        self._quiet = Quiet(intervals, self._patience.quiet, self._patience.longest_quiet)
        self._posts: dict[str, list[tuple[str, Pick]]] = {}
        for sensor in self._sensors:
            pick = picker(sensor.payload) if isinstance(sensor.payload, Saying) else None
            if pick is not None:
                self._posts.setdefault(sensor.channel.upper(), []).append((sensor.id, pick))
        self.heard = 0  # callbacks that were advertisements, from anyone
        self.stumbles = 0  # callbacks that could not be handed on
        self._last = 0  # steady ms of the last of them, or of the start of the scanner
        self._failures = 0
        self._told: tuple[bool, str] | None = None
        self._remarks: set[str] = set()

    async def run(self) -> None:
        """Listen, and begin anew after every trouble, until cancelled."""
        self._told = None  # after a fall of ours the daemon has said that we are down
        self._warn()
        try:
            while True:
                wait = await self._scan()
                if wait:
                    await self._adapters.changed(wait)
        finally:
            await self._adapters.close()

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Do nothing: nobody on the air waits for an answer."""

    def overhear(self, on_any: Callable[[Advert], None] | None) -> None:
        """Hand on everything that is heard from now on, as `on_any` of the constructor; with None nothing any more.

        Who looks for a sensor listens so with the scanner that runs: the service refuses one program a second scan. A
        passive one is built anew, since it must ask for strangers before it hears them.
        """
        anew = self._radio.mode == "passive" and (on_any is None) is not (self._on_any is None)
        self._on_any = on_any
        if anew:
            self._adapters.wake()

    @property
    def trouble(self) -> str:
        """Return why nothing is heard, in the keeper's words; empty while it listens or has not said yet."""
        return self._told[1] if self._told is not None and not self._told[0] else ""

    # -- the supervisor ------------------------------------------------------------------------------------

    async def _scan(self) -> int:
        """Live through one scanner; return how long to wait (ms) before the next."""
        try:
            name = await self._adapters.find(self._radio.adapter)
        except Trouble as trouble:
            self._tell(up=False, reason=str(trouble))
            return self._backoff.failed()
        wanted = patterns(self._sensors, anybody=self._on_any is not None)
        scanner = Scanner(name, self._radio.mode, wanted, self.advertised, self._patience, self._clock)
        self._reader.forget()
        try:
            await scanner.start()
            self._last = self._clock.now().steady
            if not self._quiet.missed:  # else only hearing somebody shows that it works
                self._tell(up=True, reason=LISTENS)
            await self._listen()
        except Refused as refused:
            self._tell(up=False, reason=str(refused))
            await self._failed(name if refused.curable else None)
            return self._backoff.failed()
        finally:
            await scanner.stop()
        if self._clock.now().steady - self._last >= self._quiet.span:
            self._tell(up=False, reason=HEARS_NOTHING)
            self._quiet.miss()
            await self._failed(name)
        self._backoff = Backoff(self._rng)
        return 0

    async def _listen(self) -> None:
        """Return when the adapter changed, or when nothing was heard for too long."""
        reading = asyncio.create_task(self._reader.run()) if self._reader.targets else None
        try:
            heard = self.heard
            while (left := self._last + self._quiet.span - self._clock.now().steady) > 0:
                if await self._adapters.changed(left):
                    return
                self._quiet.look(self.heard - heard)
                heard = self.heard
        finally:
            if reading is not None:
                reading.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await reading

    async def _failed(self, name: str | None) -> None:
        """Count a failure; at every third in a row switch the adapter `name` off and on, None if that is no help."""
        self._failures += 1
        if name is None or self._failures % POWER_CYCLE:
            return
        log.warning("%s: switching the Bluetooth adapter %s off and on", self.id, name)
        try:
            await self._adapters.power_cycle(name)
        except Trouble as trouble:
            log.warning("%s: that failed: %s", self.id, trouble)

    # -- the callback --------------------------------------------------------------------------------------

    def advertised(self, device: "BLEDevice", advertisement: "AdvertisementData") -> None:
        """Take one callback of the scanner; what goes wrong is counted, told once, and never raised."""
        try:
            if advertisement.rssi != NO_SIGNAL:
                self._take(device, advertisement)
        except Exception as fault:
            self.stumbles += 1
            if self.stumbles == 1:
                log.exception("%s: an advertisement could not be handed on", self.id)
            else:
                log.debug("%s: an advertisement could not be handed on: %r", self.id, fault)
            if STUMBLED not in self._remarks:
                self._remark(STUMBLED)

    def _take(self, device: "BLEDevice", advertisement: "AdvertisementData") -> None:
        now = self._clock.now()
        self.heard += 1
        self._last = now.steady
        if self._failures:
            self._recovered()
        posts = self._posts.get(device.address)
        if posts is not None:
            for sensor, pick in posts:
                payload = pick(advertisement.service_data, advertisement.manufacturer_data)
                if payload is not None:
                    self._intake.hear(Heard(self.id, sensor, payload, now, signal=advertisement.rssi), None)
        target = self._reader.targets.get(device.address)
        if target is not None:
            self._reader.spotted(target, device, advertisement.rssi, now.steady)
        if self._on_any is not None:
            self._on_any(
                Advert(
                    device.address,
                    advertisement.local_name or "",
                    advertisement.rssi,
                    advertisement.service_data,
                    advertisement.manufacturer_data,
                    now,
                )
            )

    def _recovered(self) -> None:
        self._failures = 0
        self._quiet.hear()
        self._tell(up=True, reason=LISTENS)

    # -- what is said --------------------------------------------------------------------------------------

    def _warn(self) -> None:
        repeating = unsure(self._sensors) if self._radio.mode == "passive" else []
        if repeating:
            names = ", ".join(sensor.name for sensor in repeating)
            self._remark(
                f"{self._radio.name} listens passively, and so hears a device again only when its message changes. "
                f"While the temperature is steady these may seem silent: {names}. Set the radio's mode to active."
            )
        if self._reader.crowded:
            self._remark(
                f"{self._radio.name} has more sensors to connect to than its time allows; "
                "they will be read less often than asked. Give them a longer read_every."
            )

    def _tell(self, *, up: bool, reason: str) -> None:
        if self._told != (up, reason):
            self._told = (up, reason)
            self._intake.source_up(self.id, up, reason)

    def _remark(self, text: str) -> None:
        if text not in self._remarks:
            self._remarks.add(text)
            self._intake.remark(self.id, text)
