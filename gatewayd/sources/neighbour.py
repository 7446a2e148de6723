"""Hear on a shared broker whether another household's gateway is up.

It publishes `up` when it connects and leaves `down` as its will, both retained (see `Link.publish_status`). So the
broker speaks for a gateway that died. What a message proves depends on how it came:

* A live `up` is a sign of life; a retained one, or one out of a backlog, may be days old and is none. It only takes
  back a `down` that we passed on before: the broker no longer says that the gateway is gone.
* `down` counts however it came. Where it was not the last word, the `up` behind it takes it back, and the watch waits
  with its alarm for longer than that. The retained value is asked for at every connection, so that a `down` which was
  missed meanwhile is heard of.
"""

from collections.abc import Callable, Mapping, Sequence

from gatewayd.model.house import Neighbour
from gatewayd.sources.intake import Intake

UP, DOWN = b"up", b"down"


class Standing:
    """Hold what the broker last said on one topic; it outlives the connection."""

    def __init__(self, topic: str, ids: tuple[str, ...]) -> None:
        """Take the topic and the ids of the neighbours who speak there."""
        self.ids = ids
        self._topic = topic
        self._gone = False

    def said(self, payload: bytes, intake: Intake, remark: Callable[[str], None], *, live: bool) -> None:
        """Take one message; `live` says that it was published just now."""
        word = payload.strip().lower()
        if word == DOWN:
            self._pass_on(intake, up=False)
        elif word != UP:
            remark(f"{self._topic} says {_shown(payload)}, and up or down was expected; is it the right topic?")
        elif live or self._gone:
            self._pass_on(intake, up=True)

    def _pass_on(self, intake: Intake, *, up: bool) -> None:
        self._gone = not up
        for neighbour in self.ids:
            intake.beat(neighbour, up)


def topics_of(neighbours: Sequence[Neighbour], sensors: Mapping[str, object]) -> dict[str, Standing]:
    """Return what is heard of neighbours, by topic; `sensors` are the topics that sensors have.

    Raise ValueError for a topic that is a pattern, or that a sensor has.
    """
    ids: dict[str, tuple[str, ...]] = {}
    for neighbour in neighbours:
        topic = neighbour.topic
        if not topic or any(sign in topic for sign in "+#\0"):
            raise ValueError(f"neighbour {neighbour.id}: {topic!r} is not a topic; write one in full, without + and #")
        if topic in sensors:
            raise ValueError(f"neighbour {neighbour.id}: {topic!r} is the topic of a sensor; it cannot be both")
        ids[topic] = (*ids.get(topic, ()), neighbour.id)
    return {topic: Standing(topic, some) for topic, some in ids.items()}


def _shown(payload: bytes) -> str:
    return repr(payload[:40].decode("utf-8", "replace"))
