"""A sensor that publishes: patient (each message is tried until the broker has it) and in a thread of its own."""

import time
from collections import deque
from collections.abc import Iterable
from typing import Any, Self

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from tests.rigs.broker import SENSOR, SENSOR_PASSWORD, Mosquitto


class Publisher:
    """Publish to one broker, QoS 1 unless asked otherwise; after a lost link go on with what was not acknowledged.

    `keeps` is how many of the messages that were acknowledged last it sends once more after a lost link, as a sensor
    with a memory does. A killed broker needs that: mosquitto saves when the count of changes EXCEEDS autosave_interval
    (mosquitto.conf(5)), so the last message that it acknowledged may be gone.
    """

    def __init__(self, broker: Mosquitto, name: str = "sensor-1", *, keeps: int = 0, window: int = 100) -> None:
        """Connect in the background; `window` messages may wait for their acknowledgement."""
        self._latest: deque[int] = deque(maxlen=keeps)
        self._sent: dict[int, tuple[str, str | bytes]] = {}
        self._links = 0
        self.client = Client(CallbackAPIVersion.VERSION2, name, clean_session=False)
        self.client.username_pw_set(SENSOR, SENSOR_PASSWORD)
        self.client.reconnect_delay_set(1, 1)
        self.client.max_inflight_messages_set(window)
        self._out: list[int] = []
        self._acknowledged: set[int] = set()
        self.client.on_connect = self._on_connect
        self.client.on_publish = self._on_publish
        self.client.connect("127.0.0.1", broker.port, keepalive=5)
        self.client.loop_start()

    def send(self, topic: str, payload: str | bytes, *, qos: int = 1, retain: bool = False) -> None:
        """Publish one message, 60 000 at most in one life; it is out when `wait` returns."""
        mid = self.client.publish(topic, payload, qos=qos, retain=retain).mid
        self._sent[mid] = (topic, payload)
        self._out.append(mid)

    def send_all(self, messages: Iterable[tuple[str, str | bytes]]) -> None:
        """Publish many."""
        for topic, payload in messages:
            self.send(topic, payload)

    def wait(self, seconds: float = 20.0) -> None:
        """Wait until the broker has acknowledged everything; raise TimeoutError if it does not."""
        deadline = time.monotonic() + seconds
        while missing := len(set(self._out) - self._acknowledged):
            if time.monotonic() > deadline:
                raise TimeoutError(f"{missing} messages are still with the publisher")
            time.sleep(0.01)

    def _on_connect(self, *_args: Any) -> None:
        self._links += 1
        if self._links > 1:
            self.send_all(self._sent[mid] for mid in list(self._latest) if mid in self._sent)

    def _on_publish(self, _client: Client, _userdata: Any, mid: int, *_rest: Any) -> None:
        self._acknowledged.add(mid)
        self._latest.append(mid)

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, *exc: object) -> None:
        """Disconnect."""
        self.client.disconnect()
        self.client.loop_stop()
