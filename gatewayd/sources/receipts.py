"""Keep the order of acknowledgement: MQTT wants answers in the order in which the messages came.

(Statements MQTT-4.6.0-2 of both 3.1.1 and 5.0.) The store commits in batches and hands receipts back in any order, and
some messages need no commit at all; a receipt therefore waits until all before it are done.
"""

from collections import deque
from collections.abc import Callable, Iterable


class Receipt:
    """Stand for one unacknowledged message of one connection; opaque to everyone else."""

    __slots__ = ("book", "done", "mid")

    def __init__(self, mid: int, book: "Receipts", done: bool = False) -> None:  # noqa: FBT001, FBT002 - hot path
        """Remember the packet identifier, which is unique only among what is unacknowledged now."""
        self.mid = mid
        self.book = book
        self.done = done


class Receipts:
    """Hold the unacknowledged messages of one connection in order of arrival."""

    __slots__ = ("_send", "_waiting")

    def __init__(self, send: Callable[[int], object]) -> None:
        """Answer through `send(packet identifier)`."""
        self._send = send
        self._waiting: deque[Receipt] = deque()

    def __len__(self) -> int:
        """Return how many messages are not acknowledged."""
        return len(self._waiting)

    def arrived(self, mid: int) -> Receipt:
        """Note a message and return its receipt."""
        receipt = Receipt(mid, self)
        self._waiting.append(receipt)
        return receipt

    def passed_over(self, mid: int) -> None:
        """Note a message that holds no reading: it is acknowledged as soon as those before it are."""
        self._waiting.append(Receipt(mid, self, True))
        if self._waiting[0].done:
            self._answer()

    def acknowledge(self, receipts: Iterable[object]) -> None:
        """Mark receipts as done and answer as far as the order allows.

        Those of an earlier connection mean nothing to this one (the broker sends such messages again) and are ignored.
        """
        for receipt in receipts:
            if isinstance(receipt, Receipt) and receipt.book is self:
                receipt.done = True
        self._answer()

    def close(self) -> None:
        """Forget everything: the connection is gone, and answers on another one would mean other messages."""
        self._waiting.clear()

    def _answer(self) -> None:
        waiting = self._waiting
        while waiting and waiting[0].done:
            self._send(waiting.popleft().mid)
