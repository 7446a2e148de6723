"""Whatever is said of the mains in whatever order: turns end, nobody stays hidden, and all can be packed."""

from hypothesis import given, settings
from hypothesis import strategies as st

from gatewayd.alarm.kinds import HIGH, UNWATCHED
from gatewayd.alarm.mains import CHILDREN, Mains, Sign
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.pack import pack, unpack
from tests.alarm.outage import ALL, CELLAR, HOUSE, MAINS, PORCH, SHED, House, cooling
from tests.alarm.scene import at

SENSORS = {"shed-mains": (SHED, PORCH), "cellar-mains": (CELLAR,)}
said = st.one_of(
    st.tuples(st.just("sensor"), st.sampled_from(sorted(SENSORS)), st.booleans()),
    st.tuples(st.just("host"), st.just(HOUSE), st.booleans()),
    st.tuples(st.just("power"), st.just("shed-plug"), st.booleans()),
    st.tuples(st.just("signs"), st.sampled_from(ALL), st.booleans()),
    st.tuples(st.just("child"), st.sampled_from(ALL), st.booleans()),
    st.tuples(st.just("again"), st.sampled_from(["dark", "pack", "look"]), st.booleans()),
)
waits = st.sampled_from([0, SECOND, MINUTE, 2 * MINUTE, 20 * MINUTE, HOUR, 3 * HOUR])


def say(house: House, what: str, who: str, yes: bool, ms: int, sure: set[str]) -> None:
    """Let one thing be said at a time (ms after the start)."""
    now = at(ms)
    match what:
        case "sensor":
            house.mains.sensor(who, SENSORS[who], "shed", yes, now)
        case "host":
            house.mains.host(yes, now)
        case "power":
            house.mains.power(who, SHED, 90.0 if yes else 0.0, now)
        case "signs":
            (sure.add if yes else sure.discard)(who)
            signs = {f: Sign("shed", now, sure=True, cools=None) if f in sure else cooling(ms) for f in ALL}
            house.mains.turning(signs, now, house.alarms)
        case "child" if yes:
            house.stand(who, HIGH, ms)
            house.stand(who, UNWATCHED, ms)
        case "child":
            house.alarms.clear(house.alarms.get(who, HIGH), now, {})
            house.mains.suppress(house.alarms, now)
        case "again" if who == "dark":
            house.mains.dark(now)
        case "again" if who == "pack":
            house.mains = unpack(Mains, pack(house.mains))
        case _:
            house.mains.look(now, house.alarms)


@given(st.lists(st.tuples(waits, said), max_size=40))
@settings(max_examples=150, deadline=None)
def test_whatever_is_said_ends_well(said_: list[tuple[int, tuple[str, str, bool]]]) -> None:
    """Turns move time on, exactly the covered are hidden, and with all power back nobody is."""
    house, ms, sure = House(), 0, set[str]()
    for wait, (what, who, yes) in said_:
        ms += wait
        house.go(ms)  # would never return if a turn left its own moment due
        say(house, what, who, yes, ms, sure)
        covered = {
            freezer
            for alarm in house.alarms.all.values()
            if alarm.kind == MAINS and alarm.standing
            for freezer in str(alarm.facts["covers"]).split(",")
        }
        names = {kind.name for kind in CHILDREN}
        assert all(house.hidden(freezer) == (names if freezer in covered else set()) for freezer in ALL)
    house.mains.host(True, at(ms))
    house.mains.power("shed-plug", SHED, 90.0, at(ms))
    for sensor, covers in SENSORS.items():
        house.mains.sensor(sensor, covers, "shed", True, at(ms))
    for ms_ in range(ms, ms + 4 * HOUR, 10 * MINUTE):
        house.go(ms_)
        house.mains.turning(dict.fromkeys(ALL, cooling(ms_)), at(ms_), house.alarms)

    assert not any(a.standing for a in house.alarms.all.values() if a.kind == MAINS)
    assert not any(house.hidden(freezer) for freezer in ALL)
    assert not house.mains.hiding
