"""MQTT: hear the sensors of one broker, store first, then acknowledge.

The way of one message: the broker sends it (quality of service 1), `Link` stamps it and hands it to the intake with a
receipt, the store commits, the daemon gives the receipt back, and only then is the broker answered. Whatever happens in
between, the broker still has it and sends it again. Together with a session that outlives connection and daemon (fixed
client id, expiry `session_keep`), nothing that reached the broker is lost.

What the keeper's broker must do for that (persistence, a long queue) stands in the README.
"""

import asyncio
import random
from collections.abc import Sequence

from gatewayd.clock import Clock
from gatewayd.model.house import Neighbour, Sensor
from gatewayd.settings.typed import Broker
from gatewayd.sources import refusal
from gatewayd.sources.backoff import Backoff
from gatewayd.sources.dial import Dialler, StillHanging, connect, hang_up
from gatewayd.sources.intake import Intake
from gatewayd.sources.link import End, Link, Why, Wiring
from gatewayd.sources.marker import Lateness
from gatewayd.sources.neighbour import topics_of

ANSWER_WITHIN = 15.0  # s, for the greeting and for the subscriptions: a broker that takes longer is ill
TICK = 1.0  # s: keepalive needs no better, and once a second is what an idle source may cost


class MqttSource:
    """Hear the sensors of one broker, for ever. One `run` at a time; it may be run again after it ended."""

    def __init__(
        self,
        broker: Broker,
        sensors: Sequence[Sensor],
        intake: Intake,
        clock: Clock,
        rng: random.Random,
        neighbours: Sequence[Neighbour] = (),
    ) -> None:
        """Take the sensors whose `channel` is a topic of this broker; several may share a topic.

        `neighbours` are the gateways of other households that say on a topic of this broker whether they are up.
        Raise ValueError for a topic that is a pattern: each sensor is heard on a topic of its own making.
        """
        topics: dict[str, tuple[str, ...]] = {}
        for sensor in sensors:
            if not sensor.channel or any(sign in sensor.channel for sign in "+#\0"):
                raise ValueError(
                    f"sensor {sensor.id}: {sensor.channel!r} is not a topic; write one topic in full, without + and #"
                )
            topics[sensor.channel] = (*topics.get(sensor.channel, ()), sensor.id)
        self._neighbours = topics_of(neighbours, topics)
        self.id = broker.id
        self._broker = broker
        self._topics = topics
        self._intake = intake
        self._clock = clock
        self._rng = rng
        self._backoff = Backoff(rng)
        self._dialler = Dialler(f"dial {broker.id}")
        self._program = f"{rng.getrandbits(64):016x}"  # unlike any other's, so that two of us can tell each other apart
        self._previous: int | None = None  # when the marker of our last connection was made (wall ms)
        self._version_5 = True
        self._version_known = False
        self._lateness: Lateness | None = None
        self._link: Link | None = None
        self._told: tuple[bool, str] | None = None
        self._remarks: set[str] = set()

    async def run(self) -> None:
        """Connect, hear, reconnect, until cancelled. Raise what the intake raised, if it did."""
        if self._lateness is None:
            self._lateness = Lateness(self._intake.last_commit(), 2 * self._broker.keepalive)
        self._told = None  # whoever restarted us has said that we are down
        wiring = Wiring(
            self._broker, self._topics, self._intake, self._clock, self._lateness, self._remark, self._neighbours
        )
        while True:
            wait = await self._connection(wiring)
            if wait:
                await self._clock.sleep(wait)

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Answer the broker for messages whose readings are committed, or which hold none to keep.

        Answers leave in the order of arrival, so one receipt held back holds back all later ones. Receipts of an
        earlier connection are ignored: the broker sends those messages again.
        """
        if self._link is not None:
            self._link.acknowledge(receipts)

    @property
    def unacknowledged(self) -> int:
        """Return how many messages of this connection wait for their commit."""
        return len(self._link.receipts) if self._link is not None else 0

    async def _connection(self, wiring: Wiring) -> int:
        """Live through one connection; return how long to wait (ms) before the next."""
        version_5 = self._version_5
        try:
            client = await self._dialler.call(lambda: connect(self._broker, version_5=version_5), hang_up)
        except StillHanging:
            self._tell(up=False, reason=f"the name {self._broker.host} is being looked up without an answer")
            return self._backoff.failed()
        except (OSError, ValueError, UnicodeError) as fault:
            self._tell(up=False, reason=refusal.unreachable(fault, self._broker))
            return self._backoff.failed()
        link = Link(client, wiring, program=self._program, previous=self._previous, version_5=version_5)
        self._link = link
        up_since: int | None = None
        try:
            await self._open(link)
            up_since = self._clock.now().steady
            while True:
                await link.until(link.ended, TICK)
                link.tick()
        except End as end:
            return self._after(end, link, up_since)
        except asyncio.CancelledError:
            await link.farewell()
            raise
        finally:
            self._link = None
            link.close()
            if link.greeted.done():
                wiring.lateness.closed(self._clock.now(), self._intake.last_commit())

    async def _open(self, link: Link) -> None:
        link.open()
        if not await link.until(link.greeted, ANSWER_WITHIN):
            raise End(Why.LOST, f"{self._broker.host} takes the connection and then says nothing; look at the broker")
        self._version_known = True
        link.subscribe()
        link.publish_marker()
        self._previous = link.stamp
        link.publish_status("up")
        if not await link.until(link.answered, ANSWER_WITHIN):
            raise End(Why.LOST, "the broker does not answer when asked for its topics; look at the broker")
        self._tell(up=True, reason="connected")

    def _after(self, end: End, link: Link, up_since: int | None) -> int:
        if end.why is Why.VERSION:
            self._version_5 = False
            return 0
        if not link.greeted.done() and not self._version_known and end.why is Why.LOST:
            # Very old brokers hang up on a version they do not know; whether this is one, the next try will tell.
            self._version_5 = not self._version_5
        lasted = 0 if up_since is None else self._clock.now().steady - up_since
        wait = (
            self._backoff.ended(lasted, alone=link.rival is False) if up_since is not None else self._backoff.failed()
        )
        if end.why is not Why.TAKEN and not link.rival and not self._backoff.suspicious:
            self._tell(up=False, reason=end.reason)
            return wait
        taken = refusal.ended(refusal.TAKEN_OVER, self._broker)
        self._tell(up=False, reason=taken)
        self._remark(taken)
        return self._backoff.taken_over(lasted)

    def _tell(self, *, up: bool, reason: str) -> None:
        if self._told != (up, reason):
            self._told = (up, reason)
            self._intake.source_up(self.id, up, reason)

    def _remark(self, text: str) -> None:
        if text not in self._remarks:
            self._remarks.add(text)
            self._intake.remark(self.id, text)
