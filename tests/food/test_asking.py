"""Which question comes next on the walk, and what of it can be taken back."""

from dataclasses import replace

import pytest

from gatewayd.food.asking import (
    ALL,
    Aside,
    Step,
    boxes,
    has_vegetable_juice,
    last_of,
    ready,
    spoke_of_juice,
    step,
    told,
)
from gatewayd.food.fate import SENSOR, Fate, Finding, Item, fates
from gatewayd.food.seen import Seen
from gatewayd.model.excursion import Answer, Curve, Decision, Ruling
from gatewayd.model.stock import Box, Package

TOP, LOW = Box("top", "Top basket", "shed-chest"), Box("low", "Low basket", "shed-chest")
LEVELS = ("-12", "-6.7", "0", "4.4")
COLD = Seen(Curve(dict.fromkeys(LEVELS, 0.0), dict.fromkeys(LEVELS, 0.0), peak=-3.0))
WARM = Seen(Curve(dict.fromkeys(LEVELS, 3.0), dict.fromkeys(LEVELS, 3.0), peak=6.0), warm=((0, 10_800_000),))
END = 20_000_000  # wall ms, after the spell


def items(*foods: str, box: Box = TOP) -> list[Item]:
    """Return a package of each food."""
    return [Item(box, Package(n, box.id, food, 1, 1.0)) for n, food in enumerate(foods, 1)]


def judged(*findings: Finding, seen: Seen = WARM, dark: bool = False, foods: tuple[str, ...] = ("trout", "bread")):
    """Return the fates of some food after what was said."""
    return fates(items(*foods), findings, seen, dark)


def said(package: int, at: int = END, who: str = "ann", **of: object) -> Finding:
    """Return what somebody said of a package."""
    return Finding(None, package, at, who, **of)  # type: ignore[arg-type]


def cold(package: int, at: int = END, who: str = "ann") -> Finding:
    """Return that somebody found a package cold."""
    return said(package, at, who, answer=Answer.COLD)


@pytest.mark.parametrize("seen", [COLD, WARM])
def test_dark_spell_is_always_asked(seen: Seen) -> None:
    """After a spell in which nobody watched each package is asked for, however cold the air was before and after."""
    asked, those = step(judged(seen=seen, dark=True), set(), Aside())

    assert asked is Step.FOUND
    assert len(those) == 2


def test_cold_air_answers() -> None:
    """Where the sensor answers nothing is asked: what the chart says comes at once, but for what has no name."""
    known, unknown = judged(seen=COLD), judged(seen=COLD, foods=("trout", "bread", "something"))

    assert step(known, set(), Aside())[0] is Step.CHART
    assert [fate.item.food for fate in step(unknown, set(), Aside())[1]] == ["something"]


def test_who_cannot_tell_goes_on() -> None:
    """What nobody could tell is not asked again in this box, is not judged, and is never among what the chart does."""
    those = judged(cold(2))
    aside = Aside(found=frozenset({"1"}))
    juice, _ = step(those, set(), aside)
    aside = replace(aside, juice=frozenset({ALL}))
    doubt, both = step(those, set(), aside)
    asked, first = step(those, set(), replace(aside, one=True))
    after, second = step(those, set(), replace(aside, later=frozenset({"1"})))

    assert juice is Step.JUICE
    assert (doubt, [fate.item.food for fate in both]) == (Step.DOUBT, ["trout", "bread"])
    assert ready(those, set()) == []
    assert (asked, first[0].item.food, first[0].verdict.ruling) == (Step.DECIDE, "trout", Ruling.NOT_JUDGED)
    assert (after, second[0].item.food) == (Step.DECIDE, "bread")
    assert step(those, set(), replace(aside, later=frozenset({ALL}))) == (Step.DONE, [])


def test_each_by_itself() -> None:
    """Where they differ one package is asked for after the other."""
    assert [len(step(judged(*done), set(), Aside(each=True))[1]) for done in ((), (cold(1),))] == [1, 1]
    assert step(judged(cold(1)), set(), Aside(each=True))[1][0].item.food == "bread"


def test_what_is_out_is_not_asked_for_juice() -> None:
    """Raw juice is asked about what may be kept, once; what is thrown out anyway asks nothing more."""
    warm = [said(n, answer=Answer.WARM) for n in (1, 2)]
    those = judged(*warm)
    clean = [*warm, said(2, END + 1, touched=False)]
    asked, about = step(those, set(), Aside())
    after, _ = step(judged(*clean), spoke_of_juice(judged(*clean), clean), Aside())

    assert (asked, [fate.item.food for fate in about]) == (Step.JUICE, ["bread"])
    assert after is Step.CHART


def test_boxes_in_their_order() -> None:
    """The walk goes box by box; a box that nobody listed is one item of its own."""
    those = [*judged(), *fates([Item(LOW)], [], WARM, dark=False)]

    assert [len(box) for box in boxes(those)] == [2, 1]
    assert has_vegetable_juice(judged(foods=("tomato juice",)))
    assert not has_vegetable_juice(those)


def test_last_of_one_person() -> None:
    """What is taken back is one's own, the newest that still counts, all that was said at once; else nothing."""
    mine = [cold(1, END), cold(2, END)]
    thrown = said(1, END + 2, "ben", decision=Decision.THROWN, ruling=Ruling.DISCARD)
    own = said(2, END + 3, decision=Decision.KEPT)

    assert last_of("ann", mine) == mine
    assert last_of("ben", mine) == []
    assert last_of("ann", [*mine, said(1, END + 1, "ben", answer=Answer.UNKNOWN)]) == [mine[1]]
    assert last_of("ann", [*mine, thrown]) == mine
    assert last_of("ann", [*mine, thrown, own]) == [own]
    assert last_of("ben", [*mine, thrown, own]) == []  # undone is the last decision of all
    assert last_of("ben", [*mine, thrown, replace(own, stands=False)]) == [thrown]
    assert last_of("ann", [*mine, said(1, END + 1, touched=True)])[0].touched


def test_words_of_the_last() -> None:
    """What would be taken back is said in words."""
    warm = said(1, answer=Answer.WARM, hours=2.0)

    assert told([]) == ""
    assert told([cold(1), cold(2)]) == "ice crystals, or cold (2 rows)"
    assert told([warm]) == "warm, 2 hours at most"
    assert told([replace(warm, hours=5.9)]) == "warm, 5.9 hours"
    assert told([said(1, touched=True)]) == "touched by raw juice"
    assert told([said(1, decision=Decision.THROWN)]) == "thrown out"


def test_sensor_is_not_overruled_unasked() -> None:
    """The name by which the sensor answers is no person's, so nobody can take its answer back."""
    those: list[Fate] = judged(seen=COLD)

    assert {fate.by for fate in those} == {SENSOR}
    assert last_of(SENSOR, []) == []
