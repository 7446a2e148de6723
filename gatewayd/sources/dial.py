"""Open a connection without holding anything up: paho's `connect` blocks on the name, the network and TLS.

It runs in a daemon thread of our own. The loop's default executor would not do: a name look-up that hangs cannot be
stopped, and both `asyncio.run` and the interpreter wait for the executor's threads at the end.
"""

import asyncio
import ssl
import threading
from collections.abc import Callable
from typing import TypeVar

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from gatewayd.model.moment import SECOND
from gatewayd.settings.typed import Broker

T = TypeVar("T")

CONNECT_TIMEOUT = 10.0  # s, for each address of the host: a home network answers in milliseconds
DEADLINE = 25 * SECOND  # two addresses (IPv6, IPv4) and the name; beyond that it is a hang
# 5.0 lets a client refuse large messages, and the broker then drops them without a word (MQTT-3.1.2-24, -25). So it is
# far above anything a sensor may send (64 KiB are decoded; 1 MB is heard and told of as too long), and only keeps one
# message of up to 256 MB, which the protocol allows, from filling the memory of a small computer again and again.
# 3.1.1 has no such thing: there the broker's own limit has to do.
LARGEST_PACKET = 4 * 1024 * 1024


class StillHanging(Exception):
    """An earlier attempt has not come back; another one would only join it."""


class Dialler:
    """Run one blocking attempt at a time in a daemon thread."""

    def __init__(self, name: str) -> None:
        """Name the thread, for whoever looks at a hang."""
        self._name = name
        self._busy = False

    async def call(self, work: Callable[[], T], discard: Callable[[T], None], deadline: int = DEADLINE) -> T:
        """Return what `work` returns; raise what it raises, TimeoutError after `deadline` ms, or StillHanging.

        A result that comes too late, or that nobody waits for any more, goes to `discard`.
        """
        if self._busy:
            raise StillHanging
        self._busy = True
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[T] = loop.create_future()

        def deliver(result: T) -> None:
            self._busy = False
            if answer.done():
                discard(result)
            else:
                answer.set_result(result)

        def fail(fault: Exception) -> None:
            self._busy = False
            if not answer.done():
                answer.set_exception(fault)

        def body() -> None:
            try:
                result = work()
            except Exception as fault:  # noqa: BLE001 - carried over to the waiting task
                _post(loop, fail, fault)
                return
            if not _post(loop, deliver, result):
                discard(result)

        threading.Thread(target=body, name=self._name, daemon=True).start()
        try:
            async with asyncio.timeout(deadline / SECOND):
                return await answer
        except (asyncio.CancelledError, TimeoutError):
            if answer.done() and not answer.cancelled() and answer.exception() is None:
                discard(answer.result())  # it came in the same turn of the loop as the end of the wait
            raise


def _post(loop: asyncio.AbstractEventLoop, what: Callable[[T], None], value: T) -> bool:
    try:
        loop.call_soon_threadsafe(what, value)
    except RuntimeError:  # the loop is closed: the daemon has stopped meanwhile
        return False
    return True


class _OwnedSocket(ssl.SSLSocket):
    """Close itself when the handshake fails; paho would leave that to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - the signature of the base class
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def tls_context(ca: str | None) -> ssl.SSLContext:
    """Return a context that verifies certificate and host name, TLS 1.2 at least.

    `ca` is a file that holds the authority to trust instead of the system's. Raise OSError or ssl.SSLError if it cannot
    be read.
    """
    context = ssl.create_default_context(cafile=ca)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.sslsocket_class = _OwnedSocket
    return context


def new_client(broker: Broker, *, version_5: bool) -> Client:
    """Build a client with a session that outlives the connection, acknowledgement by hand and a will."""
    client = Client(
        CallbackAPIVersion.VERSION2,
        broker.client_id,
        clean_session=None if version_5 else False,
        protocol=MQTTProtocolVersion.MQTTv5 if version_5 else MQTTProtocolVersion.MQTTv311,
        reconnect_on_failure=False,  # we reconnect ourselves; paho would do it inside the event loop, blocking
        manual_ack=True,
    )
    client.connect_timeout = CONNECT_TIMEOUT
    if broker.user:
        client.username_pw_set(broker.user, broker.password.reveal() or None)
    client.will_set(f"{broker.own_topic}/status", "down", qos=1, retain=True)
    return client


def connect(broker: Broker, *, version_5: bool) -> Client:
    """Connect and return the client, CONNECT sent. Blocks; raises OSError, ssl.SSLError or ValueError."""
    client = new_client(broker, version_5=version_5)
    if broker.tls:
        client.tls_set_context(tls_context(broker.ca))
    keepalive = max(1, broker.keepalive // SECOND)
    if not version_5:
        client.connect(broker.host, broker.port, keepalive)
        return client
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho leaves it untyped
    properties.SessionExpiryInterval = min(broker.session_keep // SECOND, 0xFFFFFFFE)  # 0xFFFFFFFF means for ever
    properties.MaximumPacketSize = LARGEST_PACKET
    client.connect(broker.host, broker.port, keepalive, clean_start=False, properties=properties)
    return client


def hang_up(client: Client) -> None:
    """Close the socket of a client that is not wanted any more."""
    sock = client.socket()
    if sock is not None:
        sock.close()
