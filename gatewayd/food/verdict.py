"""What the published chart says of one package after a warm spell, and what must be said with it.

What somebody found on looking decides, never warm air alone. What nobody looked at is not judged.
"""

from dataclasses import dataclass

from gatewayd.food.chart import COLD, ROWS, SOURCE, WARM_AFTER, Row
from gatewayd.food.row import Category, Food
from gatewayd.model.excursion import Answer, Curve, Ruling

DOUBT = "When in doubt, throw it out."

# °C of the air: as long as the warmest probe stayed below it, ice cream was hard (from memory: it is served at -14 to
# -12 °C and loses its shape above). Our choice, on the safe side: air is warmer than what lies in it.
HARD = -12.0

# USDA FSIS, "Keeping Food Safe During an Emergency"
_EACH = "Judge each package by itself."
_TASTE = "Never taste food to find out; looks and smell do not prove that it is safe."
_DRIP = "Throw out whatever the juice of raw meat or poultry has touched."
# Virginia Tech: within 24 h; University of Missouri Extension: mark what was out, for first use
_AGAIN = "Cook it or freeze it again at once, within a day at the latest."
_MARK = "Mark what you freeze again and use it first: it loses quality."
# what is said of food that is frozen again, and means nothing to food that stayed frozen
_REFREEZING = frozenset({_AGAIN, _MARK, *(row.loss for row in ROWS.values())})
_SOUND = "Throw it out if there is mould, slime or a smell of yeast."
_JUDGE = (_EACH, _TASTE, _DRIP, DOUBT)
_TOUCHED = "Anything that the juice of raw meat or poultry has touched is thrown out, whatever it is and however cold."
_ASK = "ice crystals, or as cold as a refrigerator? Above 4.4 °C (40 °F) for more than 2 hours?"


@dataclass(frozen=True, slots=True)
class Verdict:
    """Hold what the chart says of one package.

    `rule` is the sentence that was applied, `source` who made it, `cautions` what must be said with it (in order),
    `strict` which copies of the chart differ and that the stricter counts here; empty where they agree or where it
    makes no difference.
    """

    ruling: Ruling
    rule: str
    source: str
    cautions: tuple[str, ...]
    strict: str = ""

    @property
    def cautions_frozen(self) -> tuple[str, ...]:
        """Return what must be said with it where the food stayed frozen: all but what is of freezing it again."""
        return tuple(each for each in self.cautions if each not in _REFREEZING)


def answer_of(curve: Curve, dark: bool) -> Answer:  # noqa: FBT001 - one clear question
    """Return what a spell's curve answers by itself: COLD, or that somebody must look.

    COLD only where the warmest probe stayed at or below 4.4 °C throughout, with no gap, and nothing was `dark` (a
    part of the spell in which nobody watched). Never WARM: warm air alone throws nothing out.
    """
    heard = curve.peak is not None and curve.peak <= COLD and curve.gaps == 0
    above = any(hours.get(f"{COLD:g}", 0.0) > 0 for hours in (curve.above, curve.at_most))
    return Answer.COLD if heard and not above and not dark else Answer.UNKNOWN


def stayed_hard(curve: Curve, dark: bool) -> bool:  # noqa: FBT001 - one clear question
    """Return whether ice cream cannot have softened: the warmest probe stayed at or below -12 °C, with no gap."""
    return answer_of(curve, dark) is Answer.COLD and curve.peak is not None and curve.peak <= HARD


def judge(
    food: Food | None,
    answer: Answer,
    hours_warm: float | None,
    touched: bool,  # noqa: FBT001 - part of what was found
    *,
    softened: bool = True,
) -> Verdict:
    """Return the chart's verdict on a package of `food` (None: unknown, or not in the food table).

    `hours_warm` is for how long the food itself was above 4.4 °C (40 °F), as somebody knows it; None: not known, which
    counts as longer than every limit. It matters only for the answer WARM. Hours of warm air are not meant: what has
    warmed stays warm for longer than the air. `touched` says that raw meat juice reached it, which overrides all else.
    `softened` False says that the spell cannot have softened ice cream, see `stayed_hard`. Raise ValueError for hours
    below 0 or no number.
    """
    if hours_warm is not None and not hours_warm >= 0:
        raise ValueError(f"{hours_warm} is no number of hours above 40 °F; it must be 0 or more, or None for not known")
    row = ROWS[food.verdict if food is not None else Category.UNKNOWN]
    if touched:
        return Verdict(Ruling.DISCARD, _TOUCHED, SOURCE, (_TASTE,))
    if answer is Answer.UNKNOWN:
        return Verdict(Ruling.NOT_JUDGED, f"Not judged, nobody has looked: {_ASK} {DOUBT}", SOURCE, _JUDGE)
    if row.category is Category.ICE_CREAM:
        return _ice_cream(row, hard=answer is Answer.COLD and not softened)
    if answer is Answer.COLD:
        return _cold(row, "with ice crystals, or as cold as a refrigerator")
    if not _past(row, hours_warm):
        limit = "2 hours or less" if row.until is None else f"less than {row.until:g} hours"
        return _cold(row, f"that was above 4.4 °C (40 °F) for {limit}")
    return _warm(row, hours_warm)


def _past(row: Row, hours: float | None) -> bool:
    """Return whether the warm column holds: after more than 2 h, or from the row's own hours on."""
    if hours is None:
        return True
    return hours > WARM_AFTER if row.until is None else hours >= row.until


def _name(row: Row) -> str:
    return row.name[0].upper() + row.name[1:]


def _ice_cream(row: Row, *, hard: bool) -> Verdict:
    if hard:
        rule = f"{_name(row)}: kept, the air at the warmest sensor never came above -12 °C, so it stayed hard."
        return Verdict(
            Ruling.REFREEZE, rule, "our choice: the chart is of ice cream that has softened", (_TASTE, DOUBT)
        )
    rule = f"{_name(row)}: thrown out once softened, cold or not."
    return Verdict(row.cold, rule, row.source, ("Do not eat melted ice cream.",))


def _cold(row: Row, how: str) -> Verdict:
    rule = f"{_name(row)} {how}: may be cooked or frozen again."
    cautions = (*([row.loss] if row.loss else []), _AGAIN, _MARK, *_JUDGE)
    return Verdict(row.cold, rule, row.source, cautions)


def _warm(row: Row, hours: float | None) -> Verdict:
    limit = "more than 2 hours" if row.until is None else f"{row.until:g} hours or more"
    unknown = "" if hours is not None else ", or nobody can rule it out"
    held = f"{_name(row)} above 4.4 °C (40 °F) for {limit}{unknown}"
    if row.warm is Ruling.DISCARD:
        return Verdict(row.warm, f"{held}: thrown out.", row.source, (_TASTE,), _differs(row, hours))
    if row.warm is Ruling.IF_SOUND:
        cautions = (_SOUND, *([row.loss] if row.loss else []), _AGAIN, _MARK, *_JUDGE)
        return Verdict(row.warm, f"{held}: may be kept as long as it is sound.", row.source, cautions)
    return Verdict(row.warm, f"{held}: may be frozen again.", row.source, (_AGAIN, _MARK, *_JUDGE))


def _differs(row: Row, hours: float | None) -> str:
    """Return which copies differ, where another copy might have kept it: in doubt about the hours it is said too."""
    same = row.printed is Ruling.DISCARD and hours is not None and hours >= (row.printed_until or WARM_AFTER)
    return "" if same else row.strict
