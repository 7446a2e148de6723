"""Tell late messages from live ones: the pure rule, time comes in as an argument.

While the daemon or its link was away, the broker kept messages. On return they come in a burst, hours old, and nothing
in the packet says so (MQTT has no time stamp). But one session is served in order, so a marker message that we publish
ourselves right after the return comes back behind the whole backlog: until it is back, every message is late.

* A fresh session (the broker did not know us) has no backlog: nothing is late. The marker is sent all the same, so that
  a broker whose rights forbid it is told of on the first day and not after the first outage.
* Where the marker does not come back, the first 30 s are late. A backlog that takes longer must be late to its end,
  and it shows by its rate: while more than 20 messages a second arrive, look again 5 s later, for 15 min at most.
* A late message was measured after the last sure sign of life. That bound is taken when the link is lost, not when it
  is back: by then other commits have moved on, those of the backlog itself among them.
"""

from collections import deque

from gatewayd.model.moment import MINUTE, SECOND, Moment

FIRST_LOOK = 30 * SECOND  # issue of this feature: "treat the first half minute as late"
LOOK_AGAIN = 5 * SECOND  # also the span over which the rate is taken
RATE = 20  # messages a second; 200 sensors that report every 10 s, more than a house has
# Brokers are advised to queue 100 000 messages; at 150 a second (a slow card, a window of 20) they take 11 min.
# Without an end, a house that truly has over 20 messages a second would be late for ever.
LAST_LOOK = 15 * MINUTE
RESEND = 5 * SECOND  # a broker whose queue is full drops the marker too; any later one is behind the backlog as well


class Lateness:
    """Decide for one source whether what arrives now is late, over all its connections.

    `late` is read for each message and is only changed by the other methods. `detect` (ms) is how long a dead link
    may go unnoticed: twice the keepalive.
    """

    def __init__(self, last_commit: int | None, detect: int) -> None:
        """Start with what the store knows: messages kept for us are not older than `last_commit` (wall ms)."""
        self.late = False
        self.settled = True  # the marker is back or given up: nothing to look for
        self.silent = False  # the marker never came although nobody refused it
        self._detect = detect
        self._wall_bound = last_commit
        self._steady_bound: int | None = None
        self._samples: deque[tuple[int, int]] = deque()
        self._opened = 0
        self._next_look = 0
        self._sent = 0
        self._refused = False

    def opened(self, now: Moment, *, resumed: bool) -> None:
        """Begin a connection; `resumed` is the broker's word that it kept our session."""
        self.late = resumed
        self.settled = self.silent = self._refused = False
        self._opened = self._sent = now.steady
        self._next_look = now.steady + FIRST_LOOK
        self._samples.clear()

    def closed(self, now: Moment, last_commit: int | None) -> None:
        """End a connection and remember since when messages may be waiting, unless older ones still are."""
        if self.late:
            return
        age = max(self._detect, now.wall - last_commit) if last_commit is not None else self._detect
        self._steady_bound = now.steady - age

    def not_before(self, now: Moment) -> int | None:
        """Return the wall stamp (ms) that a late message is not older than, None if nothing is known.

        A bound of this boot is kept in steady time, so that setting the clock meanwhile does not move it.
        """
        if self._steady_bound is None:
            return self._wall_bound
        return now.wall - (now.steady - self._steady_bound)

    def marker_back(self) -> None:
        """Take note that the marker is back: the backlog is over."""
        self.late = False
        self.settled = True

    def refused(self) -> None:
        """Take note that the broker's rights forbid the marker: only time and rate are left to judge by."""
        self._refused = True

    def resend(self, now: Moment) -> bool:
        """Say whether the marker should be published once more, and count it as done."""
        if self.settled or self._refused or now.steady - self._sent < RESEND:
            return False
        self._sent = now.steady
        return True

    def look(self, now: Moment, total: int) -> None:
        """Judge by time and rate, once a second; `total` counts the messages of this connection so far."""
        if self.settled:
            return
        self._samples.append((now.steady, total))
        while len(self._samples) > 1 and now.steady - self._samples[1][0] >= LOOK_AGAIN:
            self._samples.popleft()
        if now.steady < self._next_look:
            return
        since, count = self._samples[0]
        span = now.steady - since
        flowing = (total - count) * SECOND > RATE * span if span else False
        if self.late and flowing and now.steady - self._opened < LAST_LOOK:
            self._next_look = now.steady + LOOK_AGAIN
            return
        self.late = False
        self.settled = True
        self.silent = not self._refused
