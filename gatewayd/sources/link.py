"""One connection to one broker, from the dialled client to its end.

Callbacks of paho come in here, all in the event loop; the message callback is the hot path. What becomes of the source
(dial again, wait, tell) is decided in `mqtt`.
"""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from gatewayd.clock import Clock
from gatewayd.model.moment import SECOND
from gatewayd.model.reading import Arrival, Heard
from gatewayd.settings.typed import Broker
from gatewayd.sources import refusal
from gatewayd.sources.intake import Intake
from gatewayd.sources.marker import Lateness
from gatewayd.sources.neighbour import Standing
from gatewayd.sources.paholoop import PahoLoop
from gatewayd.sources.receipts import Receipt, Receipts

# The decoder refuses what is longer and says so; one byte more than it reads is enough to show that.
LONGEST_PAYLOAD = 64 * 1024
# An old broker that breaks its window (mosquitto 2.0.11) sends all it has; then reading stops, and the rest stays at
# the broker until commits catch up. Measured with 100 000 messages that waited: a limit of 10 000 cost 11 MB at the
# peak and one of 50 000 cost 26 MB, while taking all of them in took 8 s with either.
MOST_UNACKNOWLEDGED = 10_000
TOPICS_AT_ONCE = 100  # in one SUBSCRIBE: some kilobytes, small enough for any broker's packet limit
STRAY_TOPICS = 100  # unsubscribed from, per connection; more than this is not a leftover of ours
AWAKE = 1.5  # times the keepalive: after that the broker has dropped us (MQTT-3.1.2-24), whatever still trickles in


class Why(Enum):
    """Name the ways in which a connection ends, as far as they are answered differently."""

    LOST = "lost"
    REFUSED = "refused"
    VERSION = "the broker speaks an older MQTT"
    TAKEN = "taken over"


class End(Exception):
    """Say why a connection ended, in the keeper's words."""

    def __init__(self, why: Why, reason: str) -> None:
        """Keep both; `why` decides how long to wait."""
        super().__init__(reason)
        self.why = why
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Wiring:
    """Hold what a connection serves and whom it tells; it outlives the connection.

    `topics` maps each topic to the ids of its sensors, `neighbours` those on which other gateways say whether they are
    up. `remark` takes what the keeper is told once.
    """

    broker: Broker
    topics: Mapping[str, tuple[str, ...]]
    intake: Intake
    clock: Clock
    lateness: Lateness
    remark: Callable[[str], None]
    neighbours: Mapping[str, Standing] = field(default_factory=dict)


class Link:
    """Serve one connection.

    The marker it publishes names this program and the time, so it is unlike those that may still wait at the broker.
    The broker retains it: on the next connection it tells who was here last. If that was another program, and later
    than we were, two of them share one client id and throw each other out. (5.0 has a reason code for that, but not
    every broker sends it before it hangs up, mosquitto 2.0.11 for one; 3.1.1 has none. An earlier one is an earlier
    life of ours: a broker that was killed may come back with what it had saved last.)
    """

    def __init__(self, client: Client, wiring: Wiring, *, program: str, previous: int | None, version_5: bool) -> None:
        """Take a connected client; `open` begins. `previous` is the `stamp` of the connection before."""
        loop = asyncio.get_running_loop()
        self.greeted: asyncio.Future[bool] = loop.create_future()  # True: the broker kept our session
        self.answered: asyncio.Future[None] = loop.create_future()  # every subscription is answered
        self.ended: asyncio.Future[End] = loop.create_future()
        self.fault: Exception | None = None  # raised by the intake; ends the source
        self.rival: bool | None = None  # whether another program was here since our last connection; None: not known
        self.receipts = Receipts(lambda mid: client.ack(mid, 1))
        self._client = client
        self._wiring = wiring
        self._broker = wiring.broker
        self._program = program.encode()
        self._previous = previous
        self._version_5 = version_5
        self._marker = f"{wiring.broker.own_topic}/marker"
        self._status = f"{wiring.broker.own_topic}/status"
        self._half = max(1, wiring.broker.window // 2)
        self._asleep = max(10 * SECOND, round(AWAKE * wiring.broker.keepalive))
        self._asked = self._paused = self._leaving = False
        self._now = wiring.clock.now()  # of this round of reading
        self.stamp = self._now.wall
        self._token = f"{program}-{self.stamp}".encode()
        self._ticked = self._now.steady
        self._asked_for: dict[int, list[str]] = {}  # subscription -> its topics, until answered
        self._published: dict[int, str] = {}
        self._strays: set[str] = set()
        self._last_words: int | None = None
        self._understood: asyncio.Future[None] = loop.create_future()  # the broker has our last words
        self._pump = PahoLoop(client, self._wake, self._broke)

    def open(self) -> None:
        """Begin to drive the connection; the broker's greeting is awaited in `greeted`."""
        client = self._client
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_disconnect = self._on_disconnect
        if not self._pump.attach():
            self._end(Why.LOST, refusal.unreachable(ConnectionResetError(), self._broker))

    def subscribe(self) -> None:
        """Ask for every topic, our marker's first. On a resumed 5.0 session old retained values are not sent again."""
        neighbours = self._wiring.neighbours
        topics = [self._marker, *neighbours, *self._wiring.topics]
        if_new = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
        always = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE)
        for start in range(0, len(topics), TOPICS_AT_ONCE):
            some = topics[start : start + TOPICS_AT_ONCE]
            if self._version_5:
                _, mid = self._client.subscribe(
                    [(topic, always if topic == self._marker or topic in neighbours else if_new) for topic in some]
                )
            else:
                _, mid = self._client.subscribe([(topic, 1) for topic in some])
            if mid is not None:
                self._asked_for[mid] = some

    def publish_marker(self) -> None:
        """Send the marker message behind whatever the broker kept for us."""
        self._publish(self._marker, self._token, retain=True)

    def publish_status(self, text: str) -> int:
        """Say for everyone at the broker that gatewayd is `up` or `down`; return the packet identifier."""
        return self._publish(self._status, text.encode(), retain=True)

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Answer the broker for what is committed."""
        self.receipts.acknowledge(receipts)
        waiting = len(self.receipts)
        if self._paused and waiting < MOST_UNACKNOWLEDGED // 2:
            self._paused = False
            self._pump.resume()
        self._asked = waiting >= self._half
        if self._asked:
            self._wiring.intake.commit_soon()

    def tick(self) -> None:
        """Do what is due once a second: keepalive, and judging whether the backlog is over."""
        if not self._wake():
            return
        now = self._now
        self._ticked = now.steady
        self._pump.misc()
        lateness = self._wiring.lateness
        if lateness.settled or not self.answered.done():
            return
        lateness.look(now, self._pump.messages)
        if lateness.silent:
            self._wiring.remark(refusal.no_marker(self._broker))
        elif lateness.resend(now):
            self.publish_marker()

    async def until(self, event: asyncio.Future[Any], seconds: float) -> bool:
        """Wait for `event`; return False if it has not come in time, raise End if the connection ended."""
        await asyncio.wait({event, self.ended}, timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
        if self.fault is not None:
            raise self.fault
        if event.done() and event is not self.ended:
            return True
        if self.ended.done():
            raise self.ended.result()
        return False

    async def farewell(self) -> None:
        """Leave in order: what is acknowledged so far goes out, the status is set to down, the session stays."""
        self._leaving = True
        if not self.greeted.done() or self.ended.done():
            return
        self._last_words = self.publish_status("down")
        # Both waits are short: whoever stops us has a second for it. If they run out, the will says the same.
        answers: set[asyncio.Future[Any]] = {self._understood, self.ended}
        await asyncio.wait(answers, timeout=0.5, return_when=asyncio.FIRST_COMPLETED)
        self._client.disconnect()
        await asyncio.wait({self.ended}, timeout=0.2)

    def close(self) -> None:
        """Let go of the socket; receipts of this connection mean nothing any more."""
        self._pump.close()
        self.receipts.close()

    def _publish(self, topic: str, payload: bytes, *, retain: bool) -> int:
        mid = self._client.publish(topic, payload, qos=1, retain=retain).mid
        self._published[mid] = topic
        return mid

    def _end(self, why: Why, reason: str) -> None:
        if not self.ended.done():
            self.ended.set_result(End(why, reason))

    def _fail(self, fault: Exception) -> None:
        # An exception raised into paho would come out of its reader and be taken for a broken packet; it waits here.
        self.fault = self.fault or fault
        self._pump.pause()
        self._end(Why.LOST, "gatewayd stumbled over a message of its own making")

    def _broke(self, fault: Exception) -> None:
        self._pump.close()
        self._end(Why.LOST, f"the broker sent something that is not MQTT ({fault}); is this the right port?")

    def _wake(self) -> bool:
        now = self._wiring.clock.now()
        if now.steady - self._ticked > self._asleep:
            # The computer slept. What lies in the socket may be hours old, and the broker has given us up: begin anew.
            self._pump.pause()
            self._end(Why.LOST, "this computer slept for a while")
            return False
        self._now = now
        return True

    def _on_connect(
        self, _client: Client, _userdata: Any, flags: ConnectFlags, code: ReasonCode, _properties: Properties | None
    ) -> None:
        if code.value >= refusal.REFUSED:
            older = code.value == refusal.UNSUPPORTED_VERSION and self._version_5
            self._end(Why.VERSION if older else Why.REFUSED, refusal.refused(code.value, self._broker))
            return
        self._wiring.lateness.opened(self._now, resumed=flags.session_present)  # before the first message is read
        if not self.greeted.done():
            self.greeted.set_result(flags.session_present)

    def _on_message(self, _client: Client, _userdata: Any, message: MQTTMessage) -> None:
        self._pump.messages += 1
        if self._leaving or self.fault is not None:
            return  # not acknowledged, so it comes again
        try:
            wiring = self._wiring
            payload = bytes(message.payload)  # no copy: it is bytes, paho only does not promise it
            sensors = wiring.topics.get(message.topic)
            if sensors is None or not payload:
                self._aside(message, stray=sensors is None)
                return
            now = self._now
            arrival, not_before = Arrival.LIVE, None
            if message.retain:
                arrival = Arrival.RETAINED
            elif wiring.lateness.late:
                arrival, not_before = Arrival.LATE, wiring.lateness.not_before(now)
            receipt: Receipt | None = self.receipts.arrived(message.mid) if message.qos else None
            if len(payload) > LONGEST_PAYLOAD:
                payload = payload[: LONGEST_PAYLOAD + 1]
            for sensor in sensors[:-1]:
                wiring.intake.hear(Heard(self._broker.id, sensor, payload, now, arrival, not_before), None)
            wiring.intake.hear(Heard(self._broker.id, sensors[-1], payload, now, arrival, not_before), receipt)
            waiting = len(self.receipts)
            if waiting >= self._half and not self._asked:
                self._asked = True
                wiring.intake.commit_soon()
            if waiting >= MOST_UNACKNOWLEDGED and not self._paused:
                self._paused = True
                self._pump.pause()
        except UnicodeDecodeError:  # a topic that is not text cannot be one of ours
            self.receipts.passed_over(message.mid)
        except Exception as fault:  # noqa: BLE001 - kept, and raised out of the source's run
            self._fail(fault)

    def _aside(self, message: MQTTMessage, *, stray: bool) -> None:
        """Deal with a message that holds no reading: the marker, a deleted retained value, a topic no longer ours."""
        if message.qos:
            self.receipts.passed_over(message.mid)
        if not stray:
            return  # an empty payload deletes a retained value (MQTT-3.3.1-6) and measures nothing
        topic = message.topic
        if topic == self._marker:
            self._on_marker(bytes(message.payload), retained=message.retain)
        elif (standing := self._wiring.neighbours.get(topic)) is not None:
            live = not (message.retain or self._wiring.lateness.late)
            standing.said(bytes(message.payload), self._wiring.intake, self._wiring.remark, live=live)
        elif topic not in self._strays and len(self._strays) < STRAY_TOPICS:
            self._strays.add(topic)  # the session remembers it from earlier settings
            self._client.unsubscribe(topic)

    def _on_marker(self, payload: bytes, *, retained: bool) -> None:
        if payload == self._token:
            self._wiring.lateness.marker_back()
        elif retained and self._previous is not None and self.rival is None:
            program, _, stamp = payload.partition(b"-")
            if program == self._program:
                self.rival = False
            elif stamp.isdigit() and int(stamp[:20]) > self._previous:
                self.rival = True
                self._wiring.remark(refusal.ended(refusal.TAKEN_OVER, self._broker))

    def _on_subscribe(
        self, _client: Client, _userdata: Any, mid: int, codes: list[ReasonCode], _properties: Properties | None
    ) -> None:
        for topic, code in zip(self._asked_for.pop(mid, []), codes, strict=False):
            if topic == self._marker:
                if code.value >= refusal.REFUSED:
                    self._no_marker()
            elif code.value >= refusal.REFUSED:
                self._wiring.remark(refusal.unheard(code.value, topic, self._listeners(topic)))
            elif code.value == 0:
                self._wiring.remark(refusal.unsafe(topic))
        if not self._asked_for and not self.answered.done():
            self.answered.set_result(None)

    def _listeners(self, topic: str) -> tuple[str, ...]:
        standing = self._wiring.neighbours.get(topic)
        return standing.ids if standing is not None else self._wiring.topics[topic]

    def _on_publish(
        self, _client: Client, _userdata: Any, mid: int, code: ReasonCode, _properties: Properties | None
    ) -> None:
        if mid == self._last_words and not self._understood.done():
            self._understood.set_result(None)
        topic = self._published.pop(mid, "")
        if code.value < refusal.REFUSED:
            return
        if topic == self._marker:
            self._no_marker()
        elif topic == self._status:
            self._wiring.remark(refusal.no_status(self._broker))

    def _no_marker(self) -> None:
        self._wiring.lateness.refused()
        self._wiring.remark(refusal.no_marker(self._broker))

    def _on_disconnect(
        self, _client: Client, _userdata: Any, flags: DisconnectFlags, code: ReasonCode, _properties: Properties | None
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            why = Why.TAKEN if code.value == refusal.TAKEN_OVER else Why.LOST
            self._end(why, refusal.ended(code.value, self._broker))
        elif self.greeted.done():
            self._end(Why.LOST, "the connection to the broker broke off; is the broker running, and the network up?")
        else:
            self._end(Why.LOST, refusal.unreachable(ConnectionResetError(), self._broker))
