"""The Bluetooth adapter as the Bluetooth service (BlueZ) shows it over D-Bus: find it, watch it, switch it off and on.

Names like hci0 change from one start of the computer to the next, so an adapter is found by its own address. The
watch is an early signal only (power, plug, the service itself); whoever listens must not rely on it.
"""

import asyncio
import contextlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from gatewayd.clock import Clock
from gatewayd.settings.typed import FIRST_ADAPTER
from gatewayd.sources.patience import Patience, within

if TYPE_CHECKING:
    from dbus_fast import Message
    from dbus_fast.aio import MessageBus

BLUEZ, ROOT = "org.bluez", "/org/bluez/"
ADAPTER = "org.bluez.Adapter1"
OBJECTS, PROPERTIES = "org.freedesktop.DBus.ObjectManager", "org.freedesktop.DBus.Properties"
DBUS = "org.freedesktop.DBus"
NUMBERS = 8  # adapters whose coming and going is signalled; one with a higher number is found by looking again

OFF = "the gateway's radio is switched off"
UNPLUGGED = "the gateway's radio is unplugged"
NONE = "the gateway has no Bluetooth radio, or it is unplugged"
NOT_RUNNING = "the Bluetooth service is not running"
NOT_REACHED = "the Bluetooth service cannot be reached"
NO_ANSWER = "the Bluetooth service does not answer"
DENIED = "gatewayd is not allowed to use the Bluetooth service; its user must be in the group bluetooth"
_GONE = ("ServiceUnknown", "NameHasNoOwner", "UnknownObject", "UnknownMethod", "UnknownInterface")


class Trouble(Exception):
    """The adapter cannot be used now; the text says why in the keeper's words."""


def rules() -> list[str]:
    """Return the D-Bus match rules for what concerns adapters, and none of the many signals about devices."""
    signal = f"type='signal',sender='{BLUEZ}'"
    found = [
        f"type='signal',sender='{DBUS}',interface='{DBUS}',member='NameOwnerChanged',arg0='{BLUEZ}'",
        f"{signal},interface='{PROPERTIES}',member='PropertiesChanged',arg0='{ADAPTER}'",
    ]
    found.extend(
        f"{signal},interface='{OBJECTS}',member='{member}',arg0path='{ROOT}hci{number}'"
        for number in range(NUMBERS)
        for member in ("InterfacesAdded", "InterfacesRemoved")
    )
    return found


class Adapters:
    """Hold one connection to D-Bus, made anew when it broke."""

    def __init__(self, patience: Patience, clock: Clock) -> None:
        """Connect at the first question."""
        self._patience = patience
        self._clock = clock
        self._bus: MessageBus | None = None
        self._grave: asyncio.Task[None] | None = None
        self._event = asyncio.Event()
        self._watched: str | None = None
        self._owed: str | None = None  # address of an adapter that we switched off and could not switch on again

    async def find(self, wanted: str) -> str:
        """Return the name (hci0) of the adapter with that address, or of the first one with power.

        Raise Trouble if there is none that can be used.
        """
        self._watched = None
        self._event.clear()
        reply = await self._call("/", OBJECTS, "GetManagedObjects")
        found = {
            path: interfaces[ADAPTER] for path, interfaces in sorted(reply.body[0].items()) if ADAPTER in interfaces
        }
        if wanted != FIRST_ADAPTER:
            found = {path: facts for path, facts in found.items() if _text(facts, "Address") == wanted.upper()}
        if not found:
            raise Trouble(NONE if wanted == FIRST_ADAPTER else UNPLUGGED)
        for path, facts in found.items():
            owed = self._owed == _text(facts, "Address")
            if owed and not facts["Powered"].value:
                await self._power(path, on=True)
            if owed:
                self._owed = None
            if owed or facts["Powered"].value:
                break
        else:
            raise Trouble(OFF)
        self._watched = path
        return str(path).removeprefix(ROOT)

    async def changed(self, ms: float) -> bool:
        """Wait until power, plug or service changed; return False if nothing did within `ms`."""
        waits = {asyncio.create_task(self._event.wait()), asyncio.ensure_future(self._clock.sleep(max(0.0, ms)))}
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for wait in waits:
                wait.cancel()
        return self._event.is_set()

    def wake(self) -> None:
        """Let whoever waits for a change go on now, as if there had been one."""
        self._event.set()

    async def power_cycle(self, name: str) -> None:
        """Switch an adapter off and on; raise Trouble if it stays off. It is switched on at the next `find` then."""
        path = ROOT + name
        reply = await self._call(path, PROPERTIES, "Get", "ss", [ADAPTER, "Address"])
        self._owed = str(reply.body[0].value).upper()
        try:
            await self._power(path, on=False)
            await self._clock.sleep(self._patience.off)
        finally:  # also when gatewayd is being stopped: nobody else would switch it on again
            await self._power(path, on=True)
        self._owed = None

    async def close(self) -> None:
        """End the connection."""
        bus, self._bus = self._bus, None
        grave, self._grave = self._grave, None
        if bus is not None:
            bus.disconnect()
        if grave is not None:
            grave.cancel()
            await asyncio.wait({grave})

    async def _power(self, path: str, *, on: bool) -> None:
        from dbus_fast import Variant  # noqa: PLC0415 - part of bleak, loaded only where there is a radio

        await self._call(path, PROPERTIES, "Set", "ssv", [ADAPTER, "Powered", Variant("b", on)])

    async def _call(
        self, path: str, interface: str, member: str, signature: str = "", body: list[Any] | None = None
    ) -> "Message":
        """Return the answer of the Bluetooth service; raise Trouble if it is none."""
        from dbus_fast import Message, MessageType  # noqa: PLC0415 - see above

        question = Message(BLUEZ, path, interface, member, signature=signature, body=body or [])
        try:
            bus = await within(self._connected(), self._patience.call)
            reply = await within(bus.call(question), self._patience.call)
        except TimeoutError:
            raise Trouble(NO_ANSWER) from None
        except Trouble:
            raise
        except Exception as fault:  # dbus-fast hands on whatever broke the connection: OSError, EOFError, its own
            await self.close()
            raise Trouble(NOT_REACHED) from fault
        if reply is None:
            raise Trouble(NO_ANSWER)
        if reply.message_type is MessageType.ERROR:
            raise Trouble(_words(reply.error_name or ""))
        return reply

    async def _connected(self) -> "MessageBus":
        if self._bus is not None and self._bus.connected:
            return self._bus
        await self.close()
        from dbus_fast import BusType, Message  # noqa: PLC0415 - see above
        from dbus_fast.aio import MessageBus  # noqa: PLC0415 - see above

        bus = MessageBus(bus_type=BusType.SYSTEM)
        try:
            await bus.connect()
            bus.add_message_handler(self._signal)
            for rule in rules():
                await bus.call(Message(DBUS, "/org/freedesktop/DBus", DBUS, "AddMatch", signature="s", body=[rule]))
        except BaseException:
            bus.disconnect()  # gives the handles back, also of a connection that never stood
            raise
        self._bus = bus
        self._grave = asyncio.create_task(self._mourn(bus))
        return bus

    async def _mourn(self, bus: "MessageBus") -> None:
        with contextlib.suppress(Exception):  # the reason of the end does not matter, only that it came
            await bus.wait_for_disconnect()  # type: ignore[no-untyped-call]
        self._event.set()

    def _signal(self, message: "Message") -> None:
        from dbus_fast import MessageType  # noqa: PLC0415 - see above

        if message.message_type is not MessageType.SIGNAL or not message.body:
            return
        if message.member == "NameOwnerChanged":
            if message.body[0] == BLUEZ:
                self._event.set()
            return
        if message.member == "PropertiesChanged":
            concerned = message.body[0] == ADAPTER and "Powered" in message.body[1]
            path = message.path
        elif message.member in ("InterfacesAdded", "InterfacesRemoved"):
            path, interfaces = message.body
            concerned = ADAPTER in interfaces
        else:
            return
        if concerned and self._watched in (None, path):
            self._event.set()


def _text(facts: Mapping[str, Any], key: str) -> str:
    return str(facts[key].value).upper()


def _words(error: str) -> str:
    if error.endswith(_GONE) or ".Spawn." in error:
        return NOT_RUNNING
    if error.endswith(("AccessDenied", "NotAuthorized", "NotPermitted")):
        return DENIED
    if error.endswith(("NoReply", "Timeout", "TimedOut")):
        return NO_ANSWER
    return f"{NO_ANSWER} as it should ({error.rpartition('.')[2]})"
