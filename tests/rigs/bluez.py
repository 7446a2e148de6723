"""A stand-in for bluetoothd on a private bus: what decides whether a scanner hears an advertisement, and what kills it.

Modelled on BlueZ's D-Bus documents and source, and on runs against bluetoothd 5.66 and 5.82; written new. `Ether` is
the hardware: adapters, chips, devices, and a scan that the kernel goes on with after a crash. `Bluez` is one life of
the service on it. Not modelled: the scan window and its gaps, noise of the signal, the 5 s pause of a regular scan.

Modelled by version: patterns are compared with the whole element up to 5.68, without the UUID from 5.69 on (and then
match neither lists of UUIDs nor names); the signal must move by 8 dB to be told in passive mode, in a regular scan
(from 5.67, adapter with low energy only, no duplicates asked for), and from 5.88 in any scan without a signal filter.
"""

import asyncio
import contextlib
from collections.abc import Mapping
from typing import Any

from dbus_fast import Message, MessageType, NameFlag, Variant
from dbus_fast.aio import MessageBus

from tests.rigs.ether import Adapter, Device, Ether, Packet, fits, passes_chip, threshold, uuid16

OBJECTS, PROPERTIES = "org.freedesktop.DBus.ObjectManager", "org.freedesktop.DBus.Properties"
ADAPTER, DEVICE = "org.bluez.Adapter1", "org.bluez.Device1"
SERVICE, CHARACTERISTIC = "org.bluez.GattService1", "org.bluez.GattCharacteristic1"
MONITORS, MONITOR = "org.bluez.AdvertisementMonitorManager1", "org.bluez.AdvertisementMonitor1"
FLUSH_EVERY = 50  # signals; dbus-fast closes the connection when its socket is full


class Bluez:
    """One life of the service. Set `stalled` to accept all and deliver nothing, `refuse` to queue errors by method."""

    def __init__(self, bus: MessageBus, ether: Ether, version: tuple[int, int]) -> None:
        """Use `start`."""
        self._bus = bus
        self.ether = ether
        self.version = version
        self.experimental = True
        self.stalled = False
        self.hung = False  # answers nothing at all
        self.refuse: dict[str, list[str]] = {}
        self.calls: list[str] = []
        self.devices: dict[str, Device] = {}
        self.forget = 30.0  # s after the last packet (TemporaryTimeout)
        self.gatt_takes = 0.05  # s for connecting, and again for parting; real ones take 2
        self._objects: dict[str, dict[str, dict[str, Variant]]] = {}  # services and characteristics
        self._values: dict[str, bytes] = {}
        self._cancelled: dict[str, asyncio.Event] = {}
        self._sent = 0
        self._tasks: set[asyncio.Task[None]] = set()

    @classmethod
    async def start(cls, address: str, ether: Ether, version: tuple[int, int] = (5, 66)) -> "Bluez":
        """Own the service's name on the bus, then show the adapters."""
        bus = await MessageBus(bus_address=address).connect()
        self = cls(bus, ether, version)
        bus.add_message_handler(self._message)
        watch = "type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'"
        dbus = "org.freedesktop.DBus"
        await bus.call(Message(dbus, "/org/freedesktop/DBus", dbus, "AddMatch", signature="s", body=[watch]))
        await bus.request_name("org.bluez", NameFlag.DO_NOT_QUEUE)
        for name in ether.adapters:
            self._signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [f"/org/bluez/{name}", self._shown(name)])
        self._later(self._sweep())
        return self

    async def end(self, *, crash: bool = False, left_running: float = 0.0) -> None:
        """Go away; after a crash the kernel goes on with a running scan for `left_running` s (10.4 at most)."""
        scanning = any(adapter.filters for adapter in self.ether.adapters.values())
        if crash and scanning:
            self.ether.busy_until = asyncio.get_running_loop().time() + left_running
        for adapter in self.ether.adapters.values():
            adapter.filters.clear(), adapter.monitors.clear(), adapter.pending.clear()
        for task in self._tasks:
            task.cancel()
        self._bus.disconnect()
        with contextlib.suppress(Exception):  # the bus may have died first; either way the service is gone
            await self._bus.wait_for_disconnect()

    # -- the hardware --------------------------------------------------------------------------------------

    def plug(self, name: str, adapter: Adapter) -> None:
        """Plug an adapter in."""
        self.ether.adapters[name] = adapter
        self._signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [f"/org/bluez/{name}", self._shown(name)])

    def unplug(self, name: str) -> Adapter:
        """Pull an adapter out and return it."""
        self._drop(f"/org/bluez/{name}/")
        adapter = self.ether.adapters.pop(name)
        adapter.filters.clear(), adapter.monitors.clear()
        self._signal("/", OBJECTS, "InterfacesRemoved", "oas", [f"/org/bluez/{name}", [ADAPTER, MONITORS]])
        return adapter

    def power(self, name: str, *, on: bool) -> None:
        """Switch an adapter; off ends every scan."""
        adapter = self.ether.adapters[name]
        adapter.powered = on
        if not on:
            adapter.filters.clear(), adapter.monitors.clear()
            self.stalled = False  # what a power cycle is for
            self._drop(f"/org/bluez/{name}/")
        self._change(f"/org/bluez/{name}", ADAPTER, {"Powered": Variant("b", on)})

    def send(
        self,
        address: str,
        services: Mapping[int, bytes] | None = None,
        makers: Mapping[int, bytes] | None = None,
        *,
        adapter: str = "hci0",
        **more: Any,
    ) -> bool:
        """Put one advertisement on the air (see Packet); return whether the service told its clients anything."""
        packet = Packet(address, services or {}, makers or {}, **more)
        found = self.ether.adapters.get(adapter)
        if found is None or not found.powered or self.stalled or self.hung or found.connecting:
            return False
        now = asyncio.get_running_loop().time()
        if found.filters:
            if not passes_chip(found, packet, now):
                return False
        else:
            found.odd = not found.odd
            wanted = [pattern for patterns in found.monitors.values() for pattern in patterns]
            if not found.odd or not any(fits(pattern, packet, self.version) for pattern in wanted):
                return False
        return self._tell(f"/org/bluez/{adapter}", found, packet, now)

    async def flush(self) -> None:
        """Wait until the bus took everything sent so far; needed in a burst, see FLUSH_EVERY."""
        dbus = "org.freedesktop.DBus"
        await self._bus.call(Message(dbus, "/org/freedesktop/DBus", dbus, "GetId"))

    async def breathe(self) -> None:
        """Flush if it is time to."""
        if self._sent >= FLUSH_EVERY:
            self._sent = 0
            await self.flush()

    def take_signal_back(self, address: str, adapter: str = "hci0") -> None:
        """Withdraw the signal of a device, as BlueZ does when it is no longer in range: no advertisement."""
        path = f"/org/bluez/{adapter}/dev_{address.replace(':', '_')}"
        self.devices[path].properties.pop("RSSI", None)
        self._change(path, DEVICE, {}, ["RSSI"])

    def _tell(self, root: str, adapter: Adapter, packet: Packet, now: float) -> bool:
        path = f"{root}/dev_{packet.address.replace(':', '_')}"
        device = self.devices.get(path)
        if device is None:
            device = self.devices[path] = Device(packet.first(root), now, packet.connectable)
            self._signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, {DEVICE: device.properties}])
            return True
        device.last = now
        duplicates = any(f.get("DuplicateData") for f in adapter.filters.values())
        changed: dict[str, Variant] = {}
        old = device.properties.get("RSSI")
        if old is None or abs(old.value - packet.signal) >= threshold(adapter, self.version):
            changed["RSSI"] = Variant("n", packet.signal)
        for key, (kind, body) in packet.data.items():
            have = dict(device.properties[key].value) if key in device.properties and not duplicates else {}
            if body and (duplicates or any(have.get(k) != v for k, v in body.items())):
                changed[key] = Variant(kind, {**have, **body})
        if changed:
            device.properties.update(changed)
            self._change(path, DEVICE, changed)
        return bool(changed)

    # -- lifetimes -----------------------------------------------------------------------------------------

    async def _sweep(self) -> None:
        """Forget devices that were not heard for long."""
        while True:
            await asyncio.sleep(min(0.1, self.forget / 4))
            now = asyncio.get_running_loop().time()
            for path, device in list(self.devices.items()):
                if now - device.last > self.forget and not device.properties["Connected"].value:
                    self._remove(path)
                    await self.breathe()

    def _scan_ended(self, name: str) -> None:
        """After the last client's scan: who cannot be connected to goes at once, the others lose their signal."""
        adapter = self.ether.adapters[name]
        if adapter.filters or adapter.monitors:
            return
        for path, device in list(self.devices.items()):
            if not path.startswith(f"/org/bluez/{name}/") or device.properties["Connected"].value:
                continue
            if device.connectable:
                device.properties.pop("RSSI", None)
                self._change(path, DEVICE, {}, ["RSSI"])
            else:
                self._remove(path)

    def _drop(self, prefix: str) -> None:
        for path in [path for path in self.devices if path.startswith(prefix)]:
            self._remove(path)

    def _remove(self, path: str) -> None:
        self._part(path)
        del self.devices[path]
        self._signal("/", OBJECTS, "InterfacesRemoved", "oas", [path, [DEVICE]])

    def _client_left(self, client: str) -> None:
        for name, adapter in self.ether.adapters.items():
            adapter.filters.pop(client, None)
            for key in [key for key in adapter.monitors if key[0] == client]:
                del adapter.monitors[key]
            self._scan_ended(name)

    # -- D-Bus ---------------------------------------------------------------------------------------------

    def _shown(self, name: str) -> dict[str, dict[str, Variant]]:
        adapter = self.ether.adapters[name]
        shown = {
            ADAPTER: {
                "Address": Variant("s", adapter.address),
                "Powered": Variant("b", adapter.powered),
                "Roles": Variant("as", ["central"]),
            }
        }
        return {**shown, MONITORS: {}} if self.experimental else shown

    def _signal(self, path: str, interface: str, member: str, kind: str, body: list[Any]) -> None:
        if self._bus.connected:
            self._sent += 1
            self._bus.send(Message.new_signal(path, interface, member, kind, body))

    def _change(self, path: str, interface: str, changed: dict[str, Variant], gone: list[str] | None = None) -> None:
        self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, changed, gone or []])

    def _later(self, work: Any) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _message(self, message: Message) -> Message | bool | None:
        if message.message_type is MessageType.SIGNAL and message.member == "NameOwnerChanged":
            if not message.body[2]:
                self._client_left(message.body[0])
            return None
        if message.message_type is not MessageType.METHOD_CALL:
            return None
        if self.hung:
            return True  # taken, and never answered
        self.calls.append(message.member or "")
        queue = self.refuse.get(message.member or "")
        if queue:
            if message.member == "StopDiscovery":  # the service forgets the session before it refuses
                self.ether.adapters[(message.path or "").rpartition("/")[2]].filters.pop(message.sender or "", None)
            return Message.new_error(message, queue.pop(0), "refused by the rig")
        return self._answer(message)

    def _answer(self, message: Message) -> Message | bool:
        path, me, member = message.path or "", message.sender or "", message.member
        if member == "GetManagedObjects":
            objects: dict[str, Any] = {f"/org/bluez/{name}": self._shown(name) for name in self.ether.adapters}
            objects.update({path: {DEVICE: device.properties} for path, device in self.devices.items()})
            return Message.new_method_return(message, "a{oa{sa{sv}}}", [{**objects, **self._objects}])
        if path in self.devices or path in self._objects:
            return self._device_call(message, path)
        name = path.rpartition("/")[2]
        adapter = self.ether.adapters.get(name)
        if adapter is None:
            return Message.new_error(message, "org.freedesktop.DBus.Error.UnknownObject", path)
        if message.interface == PROPERTIES:
            if member == "Get":
                return Message.new_method_return(message, "v", [self._shown(name)[ADAPTER][message.body[1]]])
            self.power(name, on=message.body[2].value)
            return Message.new_method_return(message)
        if message.interface == ADAPTER:
            error = self._scan_call(message, name, adapter, me)
        elif message.interface == MONITORS and self.experimental:
            error = self._monitor_call(message, name, adapter, me)
        else:
            error = "org.freedesktop.DBus.Error.UnknownMethod"
        return Message.new_error(message, error, "") if error else Message.new_method_return(message)

    def _scan_call(self, message: Message, name: str, adapter: Adapter, me: str) -> str:
        if not adapter.powered:
            return "org.bluez.Error.NotReady"
        if message.member == "SetDiscoveryFilter":
            adapter.pending[me] = {key: value.value for key, value in message.body[0].items()}
        elif message.member == "StartDiscovery":
            if me in adapter.filters or asyncio.get_running_loop().time() < self.ether.busy_until:
                return "org.bluez.Error.InProgress"
            adapter.filters[me] = adapter.pending.get(me, {})
        elif message.member == "StopDiscovery":
            if adapter.filters.pop(me, None) is None:
                return "org.bluez.Error.Failed"
            self._scan_ended(name)
        return ""

    def _monitor_call(self, message: Message, name: str, adapter: Adapter, me: str) -> str:
        key = (me, message.body[0])
        if message.member == "RegisterMonitor":
            self._later(self._read_monitor(adapter, key))
        elif adapter.monitors.pop(key, None) is None:
            return "org.bluez.Error.DoesNotExist"
        else:
            self._scan_ended(name)
        return ""

    async def _read_monitor(self, adapter: Adapter, key: tuple[str, str]) -> None:
        """Ask the client for its patterns, as the service does, after the client had time to show them."""
        for _ in range(50):
            await asyncio.sleep(0.01)
            question = Message(key[0], key[1], PROPERTIES, "GetAll", signature="s", body=[MONITOR])
            reply = await self._bus.call(question)
            if reply is not None and reply.message_type is MessageType.METHOD_RETURN:
                adapter.monitors[key] = [(s, kind, bytes(c)) for s, kind, c in reply.body[0]["Patterns"].value]
                return

    # -- connections ---------------------------------------------------------------------------------------

    def _device_call(self, message: Message, path: str) -> Message | bool:
        if message.member == "ReadValue":
            return Message.new_method_return(message, "ay", [self._values[path]])
        if message.member in ("Connect", "Disconnect"):
            work = self._connect if message.member == "Connect" else self._disconnect
            self._later(work(message, path))
            return True
        return Message.new_error(message, "org.freedesktop.DBus.Error.UnknownMethod", message.member or "")

    async def _connect(self, message: Message, path: str) -> None:
        device = self.devices[path]
        address = device.properties["Address"].value
        adapter = self.ether.adapters[path.split("/")[3]]
        adapter.connecting += 1  # the scan pauses
        try:
            if address in self.ether.deaf:
                cancelled = self._cancelled[path] = asyncio.Event()
                await cancelled.wait()
                self._bus.send(Message.new_error(message, "org.bluez.Error.Failed", "le-connection-abort"))
                return
            await asyncio.sleep(self.gatt_takes)
        finally:
            adapter.connecting -= 1
        self._set(path, "Connected", on=True)
        handle = 0
        for service, characteristics in self.ether.gatt.get(address, {}).items():
            handle += 1
            place = f"{path}/service{handle:04x}"
            facts = {"UUID": Variant("s", uuid16(service)), "Device": Variant("o", path), "Primary": Variant("b", True)}
            self._show(place, SERVICE, facts)
            for number, value in characteristics.items():
                handle += 1
                below = f"{place}/char{handle:04x}"
                self._values[below] = value
                facts = {
                    "UUID": Variant("s", uuid16(number)),
                    "Service": Variant("o", place),
                    "Flags": Variant("as", ["read"]),
                }
                self._show(below, CHARACTERISTIC, facts)
        self._set(path, "ServicesResolved", on=True)
        self._bus.send(Message.new_method_return(message))

    async def _disconnect(self, message: Message, path: str) -> None:
        waiting = self._cancelled.pop(path, None)
        if waiting is not None:
            waiting.set()
        else:
            await asyncio.sleep(self.gatt_takes)
            self._part(path)
        self._bus.send(Message.new_method_return(message))

    def _part(self, path: str) -> None:
        for place in [place for place in self._objects if place.startswith(path + "/")]:
            interfaces = list(self._objects.pop(place))
            self._values.pop(place, None)
            self._signal("/", OBJECTS, "InterfacesRemoved", "oas", [place, interfaces])
        if path in self.devices and self.devices[path].properties["Connected"].value:
            self._set(path, "ServicesResolved", on=False)
            self._set(path, "Connected", on=False)

    def _show(self, path: str, interface: str, facts: dict[str, Variant]) -> None:
        self._objects[path] = {interface: facts}
        self._signal("/", OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, self._objects[path]])

    def _set(self, path: str, key: str, *, on: bool) -> None:
        self.devices[path].properties[key] = Variant("b", on)
        self._change(path, DEVICE, {key: Variant("b", on)})
