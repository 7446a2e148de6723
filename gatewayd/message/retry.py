"""Decide when a message is tried, tried again, and given up."""

import random

from gatewayd.model.delivery import Delivery
from gatewayd.model.moment import DAY, MINUTE, SECOND, Moment
from gatewayd.model.priority import Priority

# How long the routes before it get before the next route of a person is tried as well. A high alarm leaves hours
# (a full chest holds for a day, an upright for half of one), so two minutes of mail trouble cost nothing, and people
# who get both learn to ignore both. A low one may wait an hour for the route its reader prefers.
JOIN_AFTER = {Priority.HIGH: 2 * MINUTE, Priority.MEDIUM: 10 * MINUTE, Priority.LOW: 60 * MINUTE}

# A hiccup of a server is over in seconds, a restart in minutes, an outage in hours: quick tries first, then four an
# hour, which no server counts as abuse and which finds a mended line within a quarter of an hour.
BACK_OFF = (10 * SECOND, 30 * SECOND, MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 15 * MINUTE)
JITTER = 0.1  # of the wait, either way: deliveries that failed together do not come back together
SERVER_WAIT = 15 * MINUTE  # a server that asks for more is asked again after this; the alarm matters more

# News of a freezer is worth telling for a long weekend without a line; a low notice is stale after a day.
GIVE_UP = {Priority.HIGH: 3 * DAY, Priority.MEDIUM: 3 * DAY, Priority.LOW: DAY}
LEAST_TRIES = 12  # about an hour of tries: a clock that jumps ahead by days, or a daemon that was off, ends nothing


LONGEST_JOIN = 10 * MINUTE  # what the settings allow for gathering what happens together (model/telling.py)


def first_try(priority: Priority, rank: int, made_wall: int, join_within: int = 0) -> int:
    """Return the wall stamp (ms) at which the route of `rank` is first tried for a notice made at `made_wall`.

    `join_within` (ms) is how long a notice waits for others, so that what happens together is one message.
    """
    return made_wall + join_within + rank * JOIN_AFTER[priority]


def gathering(delivery: Delivery) -> int:
    """Return for how long (ms) a delivery waits for others, 0 once it was tried: its next try says no more of it."""
    if delivery.attempts:
        return 0
    wait = delivery.next_try - first_try(delivery.notice.priority, delivery.rank, delivery.notice.made.wall)
    return wait if 0 < wait <= LONGEST_JOIN else 0


def after_failure(delivery: Delivery, now: Moment, rng: random.Random, server_wait: int = 0) -> int | None:
    """Return the wall stamp (ms) of the next try, or None when the delivery is given up.

    `delivery.attempts` counts the tries that ended before this one. `server_wait` (ms) is what the server asked for.
    """
    tried = delivery.attempts + 1
    if tried >= LEAST_TRIES and age(delivery.notice.made, now) >= GIVE_UP[delivery.notice.priority]:
        return None
    step = BACK_OFF[min(tried, len(BACK_OFF)) - 1]
    wait = step * (1 + rng.uniform(-JITTER, JITTER))
    return now.wall + max(round(wait), min(server_wait, SERVER_WAIT))


def due_in(delivery: Delivery, now: Moment) -> int:
    """Return in how many ms of wall time the delivery is due, 0 when it is.

    A wait longer than any this module gives out means that the wall clock was set back since: then it is due now,
    for a message a little early harms nobody.
    """
    wait = delivery.next_try - now.wall
    joining = LONGEST_JOIN + delivery.rank * JOIN_AFTER[delivery.notice.priority]
    longest = max(round(BACK_OFF[-1] * (1 + JITTER)), joining)
    return 0 if wait <= 0 or wait > longest else wait


def age(made: Moment, now: Moment) -> int:
    """Return the age in ms, on steady time within one boot so that a set clock cannot end a message."""
    return now.steady - made.steady if made.boot == now.boot else now.wall - made.wall
