"""What becomes of each package of a freezer that was warm: what was found, what the chart says, what was decided.

Warm air alone throws nothing out. A spell that was seen without a gap and stayed at or below 4.4 °C answers for itself;
in every other somebody must look. What somebody found holds for what came before; food that may have been above 4.4 °C
for more than 2 hours since then must be looked at again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gatewayd.food.chart import COLD, WARM_AFTER
from gatewayd.food.row import Category
from gatewayd.food.seen import Seen
from gatewayd.food.table import find
from gatewayd.food.verdict import Verdict, answer_of, judge, stayed_hard
from gatewayd.model.excursion import Answer, Decision, Ruling
from gatewayd.model.stock import Box, Package


@dataclass(frozen=True, slots=True)
class Finding:
    """Hold what somebody found or decided of a box or package; what is None was not said then.

    `hours` is for how long it was above 4.4 °C (40 °F), `kg` what was thrown out, `at` when it was said (wall ms).
    `stands` is false for a decision that was undone.
    """

    box: str | None
    package: int | None
    at: int
    who: str = ""
    answer: Answer | None = None
    hours: float | None = None
    touched: bool | None = None
    decision: Decision | None = None
    ruling: Ruling | None = None
    rule: str = ""
    kg: float | None = None
    stands: bool = True


@dataclass(frozen=True, slots=True)
class Item:
    """Hold what is judged by itself: a package, or a whole box of which no list says what is in it (package None)."""

    box: Box
    package: Package | None = None

    @property
    def food(self) -> str:
        """Return what the household calls it."""
        return "all that is in it" if self.package is None else self.package.food


@dataclass(frozen=True, slots=True)
class Fate:
    """Hold all that is known of one item after a spell.

    `answer` is what counts now, `by` who gave it: a person, "the sensor", or nobody. `again` says that somebody looked,
    but too long before the end. `decision` is the last that stands and still counts, `thrown` how many kg were thrown
    out in all, `unweighed` how many times nobody knew the weight. `gone` says that it is not there any more. `also` are
    the other warm spells (number, freezer) it was in, which count too. `measured` is for how many hours the
    air was surely above 4.4 °C. `drip` says that juice of raw meat may have run, and nobody said since whether it
    touched this. `ruled` is what the chart said, by which `rule`, when it was thrown out.
    """

    item: Item
    answer: Answer
    by: str
    hours: float | None
    touched: bool
    verdict: Verdict
    again: bool = False
    decision: Decision | None = None
    decided_by: str = ""
    decided_at: int | None = None
    thrown: float = 0.0
    unweighed: int = 0
    gone: bool = False
    also: tuple[tuple[int, str], ...] = ()
    measured: float = 0.0
    drip: bool = False
    ruled: Ruling | None = None
    rule: str = ""

    @property
    def open(self) -> bool:
        """Return whether somebody must still decide on it."""
        return self.decision is None and not self.gone

    @property
    def unsaid(self) -> bool:
        """Return whether it would be kept, but for the question whether raw juice touched it: that is open."""
        return self.drip and self.open and self.verdict.ruling in (Ruling.REFREEZE, Ruling.IF_SOUND)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Return what must be said with the verdict; what the sensor answers for is kept as it is, not frozen again."""
        frozen = self.by == SENSOR and self.decision is not Decision.REFROZEN
        return self.verdict.cautions_frozen if frozen else self.verdict.cautions


SENSOR = "the sensor"
MELTS = 0.0  # °C of the air; below it nothing thaws, for the juice of food freezes at -1 °C and lower (from memory)


def fates(items: Iterable[Item], findings: Sequence[Finding], seen: Seen, dark: bool) -> list[Fate]:  # noqa: FBT001
    """Return the fate of each item, in the order given.

    `findings` come the oldest first. What was said of a box holds for all in it, until something newer is said of one
    package. `dark` says that nobody watched in a part of the spell.
    """
    boxes: dict[str, list[tuple[int, Finding]]] = {}
    packages: dict[int, list[tuple[int, Finding]]] = {}
    for place, finding in enumerate(findings):
        if finding.package is not None:
            packages.setdefault(finding.package, []).append((place, finding))
        elif finding.box is not None:
            boxes.setdefault(finding.box, []).append((place, finding))
    found = []
    for item in items:
        of = [*boxes.get(item.box.id, ()), *(packages.get(item.package.id, ()) if item.package is not None else ())]
        found.append(_fate(item, [finding for _, finding in sorted(of, key=lambda each: each[0])], seen, dark=dark))
    return found


def _fate(item: Item, findings: Sequence[Finding], seen: Seen, *, dark: bool) -> Fate:
    food = None if item.package is None else find(item.package.food)
    touched = next((f.touched for f in reversed(findings) if f.touched is not None), False)
    said = next((f for f in reversed(findings) if f.answer is not None), None)
    softened = not stayed_hard(seen.curve, dark)
    melts = food is not None and food.verdict is Category.ICE_CREAM
    answer, hours, by, again = answer_of(seen.curve, dark), None, SENSOR, False
    if answer is Answer.COLD and softened and melts:
        answer = Answer.UNKNOWN  # the air alone throws nothing out: somebody looks whether it has softened
    if food is None or food.verdict is Category.UNKNOWN:
        # it may be what melts, and no sensor knows: somebody looks for ice crystals, however cold the air was
        answer = Answer.UNKNOWN
    if said is not None and said.answer not in (None, Answer.UNKNOWN):
        # what is thrown out cold or warm need not be looked at twice
        answer, hours, by, again = (said.answer, said.hours, said.who, False) if melts else _still(said, seen, answer)
    if answer is Answer.UNKNOWN:
        by = ""
    verdict = judge(food, answer, hours, touched, softened=softened)
    decided = next((f for f in reversed(findings) if f.decision is not None and f.stands), None)
    if decided is not None and decided.decision is not Decision.THROWN and seen.warm_after(decided.at) > WARM_AFTER:
        decided, again = None, True
    thrown = [f for f in findings if f.decision is Decision.THROWN and f.stands]
    gone = item.package is not None and item.package.gone is not None
    asked = next((f for f in reversed(findings) if f.touched is not None), None)
    fresh = asked is not None and (touched or seen.warm_after(asked.at) <= WARM_AFTER)
    measured = seen.curve.above.get(f"{COLD:g}", 0.0)
    return Fate(
        item,
        answer,
        by,
        hours,
        touched,
        verdict,
        again,
        _decision(decided, item),
        decided.who if decided else "",
        decided.at if decided else None,
        sum(f.kg or 0.0 for f in thrown),
        sum(f.kg is None for f in thrown),
        gone,
        measured=measured,
        drip=may_drip(seen, dark=dark) and not fresh,
        ruled=thrown[-1].ruling if thrown else None,
        rule=thrown[-1].rule if thrown else "",
    )


def may_drip(seen: Seen, *, dark: bool) -> bool:
    """Return whether juice may have run in a spell: the air may have been above 0 °C, where ice melts."""
    curve = seen.curve
    above = any(hours.get(f"{MELTS:g}", 0.0) > 0 for hours in (curve.above, curve.at_most))
    return dark or above or curve.gaps > 0 or curve.peak is None or not curve.peak <= MELTS


def _still(said: Finding, seen: Seen, air: Answer) -> tuple[Answer, float | None, str, bool]:
    """Return what an answer is worth now: (answer, hours above 4.4 °C, by whom, whether to look again)."""
    after = seen.warm_after(said.at)
    if said.answer is Answer.COLD and after <= WARM_AFTER:
        return Answer.COLD, None, said.who, False
    if said.answer is Answer.WARM:
        return Answer.WARM, None if said.hours is None else said.hours + after, said.who, False
    return air, None, SENSOR, True


def _decision(decided: Finding | None, item: Item) -> Decision | None:
    """Return the decision, none where a part was thrown out and the rest is there still."""
    if decided is None:
        return None
    rest = item.package is not None and item.package.gone is None
    return None if decided.decision is Decision.THROWN and rest else decided.decision
