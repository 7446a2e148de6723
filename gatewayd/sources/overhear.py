"""Overhear a broker: all that it lets us read, for a person who looks for a sensor. Nothing is kept or acknowledged."""

import asyncio
import secrets
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from gatewayd.settings.typed import Broker
from gatewayd.sources.dial import CONNECT_TIMEOUT, tls_context

Overheard = Callable[[str, bytes, bool], None]  # topic, payload, retained
# A busy broker may send faster than anybody can read. What waits is handed on five times a second, the newest of it,
# so that a daemon that overhears for somebody goes on with its own work.
MOST, EVERY = 1000, 0.2  # messages, s


class OverhearError(Exception):
    """The broker cannot be overheard; the text says why."""


async def overhear(broker: Broker, heard: Overheard) -> None:
    """Call `heard` in this loop for each message on any topic, until cancelled; of a flood for some of them.

    A session of its own that ends with the connection: the daemon's is not disturbed. Raise OverhearError if the broker
    cannot be reached or refuses.
    """
    loop = asyncio.get_running_loop()
    ended: asyncio.Future[None] = loop.create_future()
    guest = replace(broker, client_id=f"gatewayd-listen-{secrets.token_hex(4)}")
    client = Client(CallbackAPIVersion.VERSION2, guest.client_id, clean_session=True, reconnect_on_failure=False)
    client.connect_timeout = CONNECT_TIMEOUT

    def fail(text: str) -> None:
        if not ended.done():
            ended.set_exception(OverhearError(f"{broker.name}: {text}"))

    def on_connect(_client: Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            loop.call_soon_threadsafe(fail, f"it refused the connection ({reason})")
        else:
            client.subscribe("#", qos=0)

    waiting: deque[MQTTMessage] = deque(maxlen=MOST)

    coming = threading.Event()  # somebody is on the way to fetch what waits

    def hand_on() -> None:
        coming.clear()  # first: what comes from here on calls anew
        for _ in range(len(waiting)):
            message = waiting.popleft()
            heard(message.topic, bytes(message.payload), bool(message.retain))

    def on_message(_client: Client, _data: Any, message: MQTTMessage) -> None:
        waiting.append(message)
        if not coming.is_set():
            coming.set()
            loop.call_soon_threadsafe(loop.call_later, EVERY, hand_on)

    def on_disconnect(_client: Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        loop.call_soon_threadsafe(fail, f"the connection ended ({reason})")

    client.on_connect, client.on_message, client.on_disconnect = on_connect, on_message, on_disconnect
    if broker.user:
        client.username_pw_set(broker.user, broker.password.reveal() or None)
    try:
        if broker.tls:
            client.tls_set_context(tls_context(broker.ca))
        await asyncio.to_thread(client.connect, broker.host, broker.port, 30)
    except (OSError, ValueError) as wrong:
        raise OverhearError(f"{broker.name} could not be reached: {wrong}") from wrong
    client.loop_start()
    try:
        await ended
    finally:
        client.on_connect = client.on_message = client.on_disconnect = None
        client.disconnect()
        await asyncio.to_thread(client.loop_stop)
        client._reset_sockets()  # noqa: SLF001 - paho leaves its wake-up pair to the garbage collector
