"""The order of acknowledgement."""

from gatewayd.sources.receipts import Receipts


def book() -> tuple[Receipts, list[int]]:
    """Return a book and the list of what it sent."""
    sent: list[int] = []
    return Receipts(sent.append), sent


def test_order_of_arrival() -> None:
    """Receipts handed back in any order are answered in the order of arrival."""
    receipts, sent = book()
    first, second, third = (receipts.arrived(mid) for mid in (5, 6, 7))

    receipts.acknowledge([third, first])
    receipts.acknowledge([second])

    assert sent == [5, 6, 7]


def test_gap_waits() -> None:
    """What is not committed holds back all that came after it."""
    receipts, sent = book()
    receipts.arrived(1)
    second = receipts.arrived(2)

    receipts.acknowledge([second])

    assert (sent, len(receipts)) == ([], 2)


def test_passed_over() -> None:
    """A message without a reading is answered at once, but never before those ahead of it."""
    receipts, sent = book()
    receipts.passed_over(1)
    second = receipts.arrived(2)
    receipts.passed_over(3)
    before = list(sent)

    receipts.acknowledge([second])

    assert (before, sent) == ([1], [1, 2, 3])


def test_stale_ignored() -> None:
    """A receipt of an earlier connection answers nothing, although its number may be in use again."""
    old, _ = book()
    stale = old.arrived(1)
    receipts, sent = book()
    receipts.arrived(1)

    receipts.acknowledge([stale, object()])

    assert sent == []


def test_twice_is_once() -> None:
    """A receipt given back twice is answered once."""
    receipts, sent = book()
    first = receipts.arrived(1)

    receipts.acknowledge([first])
    receipts.acknowledge([first])

    assert sent == [1]
