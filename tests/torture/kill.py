"""Kill the daemon at random instants under load, again and again, and see that nothing acknowledged is lost."""

import contextlib
import random
import sqlite3
import threading
import time
from collections import Counter

from tests.torture.house import Feed, Household, check_readings, check_told, household, settle
from tests.torture.result import Result

ROUNDS = 200
SLOW = 0.4  # s that the mail server takes for each message, so that many kills find one under way
LONGEST = 4.5  # s from the start to the kill: half a second of start, then time for an alarm to come and to go


class Hand:
    """Somebody who acknowledges all alarms all the time, and remembers what was answered."""

    def __init__(self, house: Household, rng: random.Random) -> None:
        """Take the house and the seeded pauses."""
        self.answered: dict[str, str] = {}
        self._house, self._rng = house, rng
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hand")

    def _run(self) -> None:
        asked = 0
        while not self._end.wait(self._rng.uniform(0.1, 0.6)):
            asked += 1
            order = {"ask": "order", "verb": "acknowledge", "alarm": 0, "why": "seen", "key": f"hand-{asked}"}
            for answer in self._house.ask(order):
                if answer.get("done"):
                    self.answered[order["key"]] = answer["text"]

    def __enter__(self) -> "Hand":
        """Start."""
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        """Stop."""
        self._end.set()
        self._thread.join()


def run(seed: int, rounds: int) -> Result:
    """Run so many kills and judge the file and the mail box at the end."""
    result, rng = Result("kill", seed, rounds), random.Random(seed)
    caught: Counter[int] = Counter()
    with household() as (broker, post, house), house, Feed(broker, random.Random(seed + 1)) as feed:
        post.server.behave, post.server.delay = "slow", SLOW
        with Hand(house, random.Random(seed + 2)) as hand:
            for number in range(1, rounds + 1):
                lived = rng.uniform(0.0, LONGEST)
                time.sleep(lived)
                house.kill()
                under_way = _look(result, house)
                caught.update(under_way)
                result.round(
                    number,
                    f"killed after {lived:.2f} s, {feed.total} published, {len(hand.answered)} orders answered, "
                    f"{len(post.server.raw)} mails, {len(under_way)} under way",
                )
                house.start()
            house.up_again()
            settle(house, feed)
        result.hold(house.down() == 0, "the daemon did not end in order at last")
        check_readings(result, house, feed)
        check_told(result, house, post, caught)
        _check_orders(result, house, hand.answered)
    result.figures |= {"kills that found a message under way": sum(caught.values())}
    return result


def _look(result: Result, house: Household) -> list[int]:
    """Hold that a copy of the file is sound after the kill; return the events whose message was under way."""
    try:
        with contextlib.closing(house.copy_of_file()) as copy:
            sending = "SELECT n.event FROM delivery d JOIN notice n ON n.id = d.notice WHERE d.progress = 'sending'"
            return [row[0] for row in copy.execute(sending)]
    except sqlite3.DatabaseError as wrong:
        result.hold(False, f"the file is damaged after a kill: {wrong}")
        return []


def _check_orders(result: Result, house: Household, answered: dict[str, str]) -> None:
    """Hold that each order that was answered is in the file, with that answer."""
    kept = dict(house.look("SELECT key, text FROM answer"))
    gone = [key for key, text in answered.items() if kept.get(key) != text]
    result.hold(not gone, f"orders that were answered and are lost: {gone[:9]}")
    result.figures |= {"orders answered": len(answered), "orders lost": len(gone)}
