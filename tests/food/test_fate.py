"""What becomes of a package: what somebody said of it or of its box, what still counts, what was decided."""

from gatewayd.food.fate import SENSOR, Finding, Item, fates
from gatewayd.food.seen import Seen
from gatewayd.model.excursion import Answer, Curve, Decision, Ruling
from gatewayd.model.moment import HOUR
from gatewayd.model.stock import Box, Package

T0 = 1_795_600_800_000
BOX = Box("top", "Top basket", "shed-chest")
NO_HOURS = {"4.4": 0.0}
COLD = Seen(Curve(NO_HOURS, NO_HOURS, peak=-3.0))
# warm from T0 to T0 + 10 h, as far as anybody knows
WARM = Seen(Curve({"4.4": 8.0}, {"4.4": 10.0}, peak=9.0), ((T0, T0 + 10 * HOUR),))


def finding(after=10.0, package=1, box=None, **said):
    """Return what Ann said so many hours after T0."""
    return Finding(box, package, T0 + round(after * HOUR), "ann", **said)


def fate(*findings, food="trout", seen=WARM, dark=False, **more):
    """Return the fate of one package."""
    return fates([Item(BOX, Package(1, "top", food, **more))], findings, seen, dark)[0]


def test_nobody_looked():
    """Nobody has looked: what was warm, or dark, is not judged; what the sensor saw cold throughout is kept."""
    assert fate().verdict.ruling is fate(seen=COLD, dark=True).verdict.ruling is Ruling.NOT_JUDGED
    assert fate().by == ""
    kept = fate(seen=COLD)
    assert (kept.verdict.ruling, kept.by, kept.open) == (Ruling.REFREEZE, SENSOR, True)


def test_box_and_package():
    """What was said of a box holds for all in it, until something newer is said of one package."""
    box = finding(package=None, box="top", answer=Answer.COLD)
    own = finding(11, answer=Answer.WARM)
    other = finding(12, package=2, answer=Answer.WARM)
    assert fate(box, other).verdict.ruling is Ruling.REFREEZE
    assert fate(box, own).verdict.ruling is Ruling.DISCARD
    assert fate(own, box).verdict.ruling is Ruling.REFREEZE
    whole = fates([Item(BOX)], [box, own], WARM, False)[0]
    assert (whole.item.food, whole.verdict.ruling) == ("all that is in it", Ruling.REFREEZE)


def test_answer_grows_old():
    """What was cold counts so for two hours more of possible warmth; the hours that somebody knew grow with the air."""
    assert fate(finding(8, answer=Answer.COLD)).verdict.ruling is Ruling.REFREEZE
    old = fate(finding(7.9, answer=Answer.COLD))
    assert (old.verdict.ruling, old.again, old.by) == (Ruling.NOT_JUDGED, True, "")
    warm = fate(finding(9, answer=Answer.WARM, hours=1.0))
    assert (warm.hours, warm.verdict.ruling) == (2.0, Ruling.REFREEZE)
    assert fate(finding(8.9, answer=Answer.WARM, hours=1.0)).verdict.ruling is Ruling.DISCARD


def test_taken_back():
    """An answer that is taken back leaves the question open; the sensor's own word stays."""
    back = (finding(answer=Answer.WARM), finding(11, answer=Answer.UNKNOWN))
    assert fate(*back).verdict.ruling is Ruling.NOT_JUDGED
    assert fate(*back, seen=COLD).verdict.ruling is Ruling.REFREEZE
    assert (
        fate(finding(answer=Answer.WARM), seen=COLD).verdict.ruling is Ruling.DISCARD
    )  # a person saw what no probe saw


def test_touched():
    """Raw meat juice overrides all, and can be taken back like any other word."""
    wet = finding(touched=True, answer=Answer.COLD)
    assert fate(wet, seen=COLD, food="bread").verdict.ruling is Ruling.DISCARD
    assert fate(wet, finding(11, touched=False), food="bread").verdict.ruling is Ruling.REFREEZE


def test_raw_juice():
    """What may have thawed is not kept before somebody said whether raw juice touched it; that word grows old too."""
    frozen = Seen(Curve(NO_HOURS, NO_HOURS, peak=0.0))
    cold = finding(answer=Answer.COLD)
    assert not fate(seen=frozen).unsaid
    assert fate(seen=frozen, dark=True).drip
    for seen in (WARM, Seen(Curve(NO_HOURS, NO_HOURS, peak=0.1)), Seen(Curve(NO_HOURS, NO_HOURS, peak=-5.0, gaps=0.1))):
        assert fate(cold, seen=seen).unsaid
        assert not fate(cold, finding(touched=False), seen=seen).unsaid
        assert not fate(cold, finding(touched=True), seen=seen).unsaid
    assert fate(finding(5, touched=False), cold).unsaid  # it was warm for 5 h more


def test_ice_cream():
    """Ice cream is not thrown out for the air alone; once somebody has looked it is, unless it stayed hard."""
    assert fate(food="ice cream", seen=COLD).verdict.ruling is Ruling.NOT_JUDGED
    assert fate(finding(answer=Answer.COLD), food="ice cream", seen=COLD).verdict.ruling is Ruling.DISCARD
    hard = Seen(Curve(NO_HOURS, NO_HOURS, peak=-13.0))
    assert fate(food="ice cream", seen=hard).verdict.ruling is Ruling.REFREEZE


def test_nameless():
    """Food that nobody can name is never kept for the sensor alone: somebody looks, whatever the air was."""
    hard = Seen(Curve(NO_HOURS, NO_HOURS, peak=-18.0))
    for seen in (COLD, hard):
        asked = fate(food="something", seen=seen)
        assert (asked.verdict.ruling, asked.by) == (Ruling.NOT_JUDGED, "")
        assert fates([Item(BOX)], [], seen, False)[0].verdict.ruling is Ruling.NOT_JUDGED
    kept = fate(finding(answer=Answer.COLD), food="something", seen=COLD).verdict
    assert kept.ruling is Ruling.REFREEZE
    assert "if it may be ice cream, throw it out" in kept.cautions[0]
    assert fate(finding(answer=Answer.WARM), food="something", seen=COLD).verdict.ruling is Ruling.DISCARD


def test_decided():
    """A decision closes a package; one that was undone, or that came before more warmth, does not."""
    kept = finding(decision=Decision.KEPT)
    assert not fate(kept).open
    assert fate(kept).decided_by == "ann"
    assert fate(finding(decision=Decision.KEPT, stands=False)).open
    early = fate(finding(5, decision=Decision.KEPT))
    assert early.open
    assert early.again


def test_thrown_out():
    """What is thrown out is summed up; of a part of a package the rest is still to decide."""
    part = finding(decision=Decision.THROWN, kg=0.5)
    rest = fate(part)
    assert (rest.open, rest.thrown) == (True, 0.5)
    gone = fate(part, finding(11, decision=Decision.THROWN), gone=T0 + 11 * HOUR)
    assert (gone.open, gone.thrown, gone.unweighed, gone.decision) == (False, 0.5, 1, Decision.THROWN)
    assert fate(gone=T0 + HOUR).open is False  # eaten meanwhile
