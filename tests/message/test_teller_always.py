"""What holds of the teller whatever happens, in whatever order, whenever it is called."""

import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.teller import Calls, Teller
from gatewayd.model.event import Stage, What
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.pack import pack, unpack
from gatewayd.model.priority import Priority
from tests.message.teller_rig import NIGHT, PEOPLE, Rig, household

WARMTH = ("rising", "high", "highhigh")
Deed = tuple[str, str, int]  # what, of which kind, after how many minutes
DEEDS = st.lists(
    st.tuples(
        st.sampled_from(["raise", "raise", "worse", "repeat", "over", "ack ann", "ack ben", "shelve", "note", "low"]),
        st.sampled_from([*WARMTH, "lid-open"]),
        st.sampled_from([0, 1, 7, 15, 16, 40, 90, 400]),
    ),
    max_size=25,
)
SLEEP = st.lists(st.sampled_from([None, NIGHT, (4 * 60, 4 * 60 + 20)]), min_size=3, max_size=3)


def play(deeds: list[Deed], sleep: list[tuple[int, int] | None], wakes: list[int] | None, *, pack_up: bool) -> Rig:
    """Play a night. `wakes`: minutes after which to wake each time, whatever the teller asked for; None: as asked."""
    rig = Rig(household(*(replace(p, quiet=q) for p, q in zip(PEOPLE, sleep, strict=True))))
    worst: dict[str, Priority] = {}
    steps = iter(wakes * 1_000 if wakes else [])
    for what, kind, after in [*deeds, ("note", "", 30 * 60)]:
        stands = ("shed-chest", kind) in rig.stands
        priority = worst.get(kind, Priority.HIGH if kind == "highhigh" else Priority.MEDIUM)
        if what == "raise" and not stands:
            worst.pop(kind, None)
            rig.happen(What.RAISED, kind, Priority.HIGH if kind == "highhigh" else Priority.MEDIUM)
        elif what == "worse" and stands and priority < Priority.HIGH:
            worst[kind] = Priority.HIGH
            rig.happen(What.WORSE, kind, Priority.HIGH)
        elif what == "repeat" and stands:
            rig.happen(What.REPEATED, kind, priority)
        elif what == "over" and stands:
            rig.happen(What.OVER, kind, priority)
        elif what.startswith("ack") and stands:
            rig.happen(What.ACKNOWLEDGED, kind, priority, who=what[4:])
        elif what == "shelve" and stands:
            rig.happen(What.SHELVED, kind, priority, who="ann")
        elif what == "note":
            rig.happen(What.NOTED, "dark", subject="heron-lane")
        elif what == "low":
            rig.happen(What.RAISED, "battery", Priority.LOW, "shed-air", asks=False)
        if pack_up:
            rig.teller = Teller(rig.house, unpack(Calls, json.loads(json.dumps(pack(rig.teller.calls)))))
        pass_time(rig, after, steps if wakes else None)
    rig.take(rig.teller.due(rig.now))
    return rig


def pass_time(rig: Rig, minutes: int, steps: object) -> None:
    """Let minutes pass, waking as the teller asked, or at steps of its own."""
    if steps is None:
        rig.go(minutes * MINUTE)
        return
    left = minutes * MINUTE
    for step in steps:  # type: ignore[attr-defined]
        if step * MINUTE > left:
            break
        rig.now = rig.now.later(step * MINUTE)
        left -= step * MINUTE
        rig.take(rig.teller.due(rig.now))
    rig.now = rig.now.later(left)


@given(deeds=DEEDS, sleep=SLEEP, wakes=st.lists(st.integers(1, 300), min_size=1, max_size=5), packed=st.booleans())
def test_waking_early_or_late_changes_nothing(
    deeds: list[Deed], sleep: list[tuple[int, int] | None], wakes: list[int], packed: bool
) -> None:
    """Called as it asked, at any other times, or restarted all the while, it tells the same for the same reasons."""
    asked = play(deeds, sleep, None, pack_up=False)
    other = play(deeds, sleep, wakes, pack_up=packed)

    assert asked.notices == other.notices
    assert asked.decisions == other.decisions


@given(deeds=DEEDS, sleep=SLEEP)
def test_never_the_same_twice(deeds: list[Deed], sleep: list[tuple[int, int] | None]) -> None:
    """No person gets two notices of the same event and stage, and nobody is told in their quiet hours but of high."""
    rig = play(deeds, sleep, None, pack_up=False)

    names = [(n.event, n.person, n.stage) for n in rig.notices]
    assert len(names) == len(set(names))
    for notice in rig.notices:
        quiet = dict(zip(("ann", "ben", "cat"), sleep, strict=True))[notice.person]
        minute = notice.made.wall // MINUTE % (24 * 60)  # the scene lies in UTC
        if quiet is not None and notice.priority < Priority.HIGH:
            begins, ends = quiet
            assert not (begins <= minute < ends if begins < ends else minute >= begins or minute < ends)


@given(deeds=DEEDS, sleep=SLEEP)
def test_high_never_waits(deeds: list[Deed], sleep: list[tuple[int, int] | None]) -> None:
    """Nothing high waits for a morning, and the first of the order hears of it the moment it happens."""
    rig = play(deeds, sleep, None, pack_up=False)

    high = {n.event for n in rig.notices if n.priority is Priority.HIGH}
    assert not [d for d in rig.decisions if d.event in high and d.reason in ("WAITS_FOR_MORNING", "MORNING")]
    raised = {d.event: d.at for d in rig.decisions if d.reason in ("FIRST", "WORSE") and d.event in high}
    for event, at in raised.items():
        assert min(n.made.wall for n in rig.notices if n.event == event) == at.wall


@given(deeds=DEEDS, sleep=SLEEP, kind=st.sampled_from([*WARMTH, "lid-open"]))
def test_no_beginning_after_an_answer(deeds: list[Deed], sleep: list[tuple[int, int] | None], kind: str) -> None:
    """After an answer nobody hears of the beginning any more, nor of its growing worse, whatever went before."""
    rig = play([*deeds, ("raise", kind, 16), ("ack ann", kind, 0)], sleep, None, pack_up=False)
    answered = rig.now.wall - 30 * HOUR  # the last thing the play does is to wait for 30 hours

    late = {n.stage for n in rig.notices if n.kind == kind and n.made.wall > answered}
    assert late <= {Stage.ANSWERED, Stage.OVER}  # the end may be that of a spell before


@given(deeds=DEEDS, sleep=SLEEP)
def test_each_beginning_has_its_end(deeds: list[Deed], sleep: list[tuple[int, int] | None]) -> None:
    """Who was told of a warm freezer hears when all its warmth is over, unless somebody hid it."""
    deeds = [deed for deed in deeds if deed[0] != "shelve"]
    rig = play([*deeds, *(("over", kind, 0) for kind in WARMTH)], sleep, None, pack_up=False)

    for person in ("ann", "ben", "cat"):
        mine = [n for n in rig.notices if n.person == person and n.kind in WARMTH and n.stage is not Stage.ANSWERED]
        assert not mine or max(mine, key=lambda n: n.event).stage is Stage.OVER
