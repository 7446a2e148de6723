"""One scanner: started with patience, stopped whatever it says. It may die without a word, so it is never repaired.

What the unmodified bleak does on BlueZ, measured: after power off and on, unplugging, a restart of the Bluetooth
service or of D-Bus the running scanner hears nothing more and is told nothing; its `stop` raises BleakError, a bare
OSError, or hangs; a new scanner works, except soon after a crash, when the kernel still runs the dead one's scan.
"""

import contextlib
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from gatewayd.clock import Clock
from gatewayd.settings.typed import Mode
from gatewayd.sources.adapter import DENIED, NOT_REACHED, NOT_RUNNING, OFF, UNPLUGGED
from gatewayd.sources.patience import Patience, within
from gatewayd.sources.pattern import Pattern

if TYPE_CHECKING:
    from bleak import BleakScanner
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

Callback = Callable[["BLEDevice", "AdvertisementData"], None]

BUSY = "the gateway's radio is still busy with something else"
NO_START = "the gateway's radio does not begin to listen"
NO_PASSIVE = (
    "the gateway's radio cannot listen passively here: the Bluetooth service must be started with --experimental; "
    "set the radio's mode to active, or start the service so"
)


class Refused(Exception):
    """The scanner did not start. `curable` says whether switching the adapter off and on may help."""

    def __init__(self, reason: str, *, curable: bool) -> None:
        """Say why in the keeper's words."""
        super().__init__(reason)
        self.curable = curable


class Scanner:
    """Hold one scan of one adapter."""

    def __init__(
        self, name: str, mode: Mode, patterns: Sequence[Pattern], callback: Callback, patience: Patience, clock: Clock
    ) -> None:
        """Prepare to listen with the adapter `name` (hci0); `patterns` count only in passive mode."""
        self._name = name
        self._mode = mode
        self._patterns = patterns
        self._callback = callback
        self._patience = patience
        self._clock = clock
        self._scanner: BleakScanner | None = None

    async def start(self) -> None:
        """Begin to listen; raise Refused if that does not come about."""
        give_up = self._clock.now().steady + self._patience.busy
        while True:
            try:
                self._scanner = self._make()
                await within(self._scanner.start(), self._patience.start)
            except TimeoutError:
                raise Refused(NO_START, curable=True) from None
            except Exception as fault:  # bleak hands on what broke: its own, OSError, EOFError, even AssertionError
                if not _is(fault, "InProgress"):
                    raise _refusal(fault) from fault
                if self._clock.now().steady >= give_up:
                    raise Refused(BUSY, curable=True) from fault
            else:
                return
            await self._clock.sleep(self._patience.busy_every)

    async def stop(self) -> None:
        """Stop listening, as far as the scanner still can; never raise on its account."""
        scanner, self._scanner = self._scanner, None
        if scanner is None:
            return
        with contextlib.suppress(Exception):  # dead scanners answer with anything; it is dropped either way
            await within(scanner.stop(), self._patience.stop)

    def _make(self) -> "BleakScanner":
        from bleak import BleakScanner  # noqa: PLC0415 - 12 MB, only where there is a radio
        from bleak.args.bluez import BlueZScannerArgs, OrPattern  # noqa: PLC0415 - see above
        from bleak.assigned_numbers import AdvertisementDataType  # noqa: PLC0415 - see above

        # Duplicates on: else BlueZ may keep back an advertisement that equals the last one (any version if the signal
        # moved by less than 8 dB, see device_set_rssi_with_delta), and a steady freezer would look silent.
        arguments: BlueZScannerArgs = {"adapter": self._name, "filters": {"DuplicateData": True}}
        if self._mode == "passive":
            arguments["or_patterns"] = [
                OrPattern(offset, AdvertisementDataType(kind), content) for offset, kind, content in self._patterns
            ]
        return BleakScanner(self._callback, scanning_mode=self._mode, bluez=arguments)


def _is(fault: BaseException, error: str) -> bool:
    name: Any = getattr(fault, "dbus_error", "")
    return str(name).endswith(error)


def _refusal(fault: Exception) -> Refused:
    text = str(fault)
    if _is(fault, "NotReady"):
        return Refused(OFF, curable=False)
    if _is(fault, "ServiceUnknown") or _is(fault, "NameHasNoOwner"):
        return Refused(NOT_RUNNING, curable=False)
    if _is(fault, "AccessDenied") or _is(fault, "NotAuthorized"):
        return Refused(DENIED, curable=False)
    if isinstance(fault, OSError | EOFError):
        return Refused(NOT_REACHED, curable=False)
    if "--experimental" in text:
        return Refused(NO_PASSIVE, curable=False)
    if "not found" in text or _is(fault, "UnknownObject"):
        return Refused(UNPLUGGED, curable=False)
    return Refused(f"{NO_START} ({text})" if text else NO_START, curable=True)
