"""What must hold for any day: splits, journals, and sequences of orders that nobody foresaw."""

import json
import random
from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gatewayd.alarm.table import Move, Refused, Shelf, Stand, State, move
from gatewayd.model.event import Event
from gatewayd.model.given import Beat, Condition, Given, Order, Rewired, SourceNews, Start, Tick
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.pack import pack
from gatewayd.model.reading import Heard
from gatewayd.watch.memory import restore, save
from gatewayd.watch.watch import Watch
from tests.days.player import BEGIN, BROKER, Player, house

Journal = list[tuple[Given, Moment]]


def written(events: list[Event]) -> bytes:
    """Return events as bytes, every field of them."""
    return json.dumps([pack(event) for event in events], sort_keys=True, ensure_ascii=False).encode()


class Recorder(Player):
    """Play a day and keep a journal of every input."""

    def __post_init__(self) -> None:
        """Begin an empty journal."""
        self.journal: Journal = []
        super().__post_init__()

    def give(self, given: Given) -> None:
        """Note an input and give it."""
        self.journal.append((given, self.now))
        super().give(given)


def busy_day(seed: int, *, lost: bool = True) -> Recorder:
    """Play 30 hours with a warm spell, orders, a broker that may be lost, and a change of the settings."""
    rng = random.Random(seed)
    day = Recorder(house(2, keep_every=0))
    air = -18.0
    for minute in range(30 * 60):
        air += (0.08 if 300 < minute < 700 else -0.1 if air > -18 else 0.02) + rng.gauss(0, 0.02)
        for freezer in day.house.freezers:
            day.hear(round(air, 2), freezer)
        if rng.random() < 0.01:
            day.give(rng.choice(ORDERS))
        if lost and minute in (900, 930):
            day.give(SourceNews(BROKER, up=minute == 930, reason="news"))
        if minute == 1000:
            day.give(Rewired(replace(day.house, version="second")))
        day.go(MINUTE)
    return day


ORDERS = (
    Order("acknowledge", who="ann"),
    Order("at the freezer", subject="shed-chest", who="ben", span=30 * MINUTE),
    Order("left the freezer", subject="shed-chest", who="ben"),
    Order("food checked", subject="shed-chest", who="ann", why="kept all"),
    Tick(),
)


def test_journal_replays_the_same_events_byte_for_byte() -> None:
    """Every input of a day, with its time, given to a new watch, makes the same events to the last byte."""
    day = busy_day(1)
    again = Watch(day.house, BEGIN)
    events = [event for given_, now in day.journal for event in again.step(given_, now).events]

    assert len(events) > 20
    assert written(events) == written(day.events)


def test_any_split_of_a_stream_gives_the_same_events() -> None:
    """Saving and restoring the watch at any moments of a gap-free stream changes no event."""
    day = busy_day(2, lost=False)  # a new process must reach its broker anew, so that wait begins anew
    rng = random.Random(4)
    for _ in range(3):
        cuts = set(rng.sample(range(1, len(day.journal)), 12))
        watch = Watch(day.house, BEGIN)
        events: list[Event] = []
        for index, (given_, now) in enumerate(day.journal):
            if index in cuts:
                kept, home = save(watch, now), watch.house
                watch = Watch(home, now)
                restore(watch, kept, now)
                # whoever starts connects anew, and finds what is due at this moment
                events += watch.step(SourceNews(BROKER, up=True), now).events
            events += watch.step(given_, now).events
        assert [(e.number, e.at, e.subject, e.kind, e.what) for e in events] == [
            (e.number, e.at, e.subject, e.kind, e.what) for e in day.events
        ]


inputs = st.one_of(
    st.sampled_from(ORDERS),
    st.builds(lambda value: ("hear", value), st.sampled_from([-40.0, -18.0, -12.0, -11.9, -6.0, 1.0, 85.0])),
    st.builds(lambda up: SourceNews(BROKER, up=up, reason="news"), st.booleans()),
    st.builds(lambda on: Condition("mains", on=on), st.booleans()),
    st.builds(lambda on: Condition("store", on=on), st.booleans()),
    st.builds(lambda up: Beat("nobody", up=up), st.booleans()),
    st.builds(lambda ms: ("go", ms), st.sampled_from([1, MINUTE, 20 * MINUTE, HOUR, 5 * HOUR])),
    st.just("restart"),
)


@given(st.lists(inputs, max_size=40))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_inputs_reach_an_unlisted_state(sequence: list[object]) -> None:
    """Whatever comes in whatever order, every alarm stands where the table lets it, and shelvings have their end."""
    day = Player(house(2))
    for each in sequence:
        match each:
            case ("hear", float(value)):
                day.hear(value)
            case ("go", int(ms)):
                day.go(ms)
            case "restart":
                day.restart(MINUTE)
            case Order() | SourceNews() | Condition() | Beat() | Tick():
                day.give(each)
        for alarm in day.watch.alarms.all.values():
            assert alarm.stand.state in State
            assert (alarm.shelf is Shelf.NONE) == (alarm.shelved_until is None)
            assert alarm.suppressed == bool(alarm.suppressed_by)
            if alarm.shelved_until is not None:
                assert alarm.shelved_until.steady - day.now.steady <= 12 * HOUR
    numbers = [event.number for event in day.events]
    assert numbers == sorted(set(numbers))  # no number twice


@given(st.lists(st.sampled_from(Move), max_size=30))
@settings(max_examples=300, deadline=None)
def test_refused_move_changes_nothing(moves: list[Move]) -> None:
    """A move is either in the table or refused with a named reason, and then nothing has changed."""
    stand = Stand()
    for what in moves:
        before = replace(stand)
        try:
            stand = move(stand, what, span=HOUR)
        except Refused:
            assert stand == before
        assert stand.silenced or not stand.acknowledged


def test_start_alone_raises_nothing() -> None:
    """A watch that hears nothing in its first half hour has raised nothing."""
    day = Player()
    day.give(Start())
    day.give(Heard(BROKER, "unknown", b"1", day.now))
    day.go(30 * MINUTE)
    assert {event.kind for event in day.events} == {"start"}
