"""What is said of a package after a warm spell: the chart's rows, its limits to the minute, and no softer for doubt."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.food.chart import ROWS
from gatewayd.food.row import Category
from gatewayd.food.table import FOODS, find
from gatewayd.food.verdict import answer_of, judge, stayed_hard
from gatewayd.model.excursion import Answer, Curve, Ruling

MINUTE = 1 / 60
# One food for each row of the chart
FOOD = {food.verdict: food for food in FOODS}
CURVE = Curve(above={"4.4": 0.0}, at_most={"4.4": 0.0}, peak=4.4)
HARSHER = (Ruling.REFREEZE, Ruling.IF_SOUND, Ruling.DISCARD)
each = pytest.mark.parametrize("row", ROWS.values(), ids=lambda row: row.category.name.lower())
foods = st.sampled_from((None, *FOODS))
hours = st.floats(0, 100)


def of(row):
    """Return a food that is judged by a row, None for the row of the unknown."""
    return FOOD.get(row.category)


def harsh(verdict):
    """Return how harsh a ruling is."""
    return HARSHER.index(verdict.ruling)


@each
def test_cold(row):
    """Food with ice crystals, or as cold as a refrigerator, gets the cold column whatever the air was."""
    for warm in (None, 0.0, 50.0):
        verdict = judge(of(row), Answer.COLD, warm, False)
        assert verdict.ruling is row.cold
        assert verdict.source == row.source
        assert verdict.strict == ""
        assert row.loss in (*verdict.cautions, "")


@each
@pytest.mark.parametrize("warm", [None, 6.0, 400.0])
def test_warm(row, warm):
    """Food above 40 °F for long, or for nobody knows how long, gets the warm column."""
    verdict = judge(of(row), Answer.WARM, warm, False)
    assert verdict.ruling is row.warm
    assert verdict.source == row.source


@each
def test_two_hours(row):
    """Two hours above 40 °F to the minute are the cold column still, a minute more is the warm one."""
    food, next_column = of(row), row.cold if row.until else row.warm
    assert judge(food, Answer.WARM, 2.0, False).ruling is row.cold
    assert judge(food, Answer.WARM, 2 + MINUTE, False).ruling is next_column


def test_six_hours():
    """Vegetable juice is kept for less than six hours above 40 °F, and at six to the minute no more."""
    juice = find("tomato juice")
    assert judge(juice, Answer.WARM, 6 - MINUTE, False).ruling is Ruling.REFREEZE
    assert judge(juice, Answer.WARM, 6.0, False).ruling is Ruling.DISCARD
    assert "less than 6 hours" in judge(juice, Answer.WARM, 6 - MINUTE, False).rule


@pytest.mark.parametrize("text", ["beans", "dill", "passata"])
def test_stricter(text):
    """Vegetables, and what is judged like them, go by the stricter copy after two hours, and it is said."""
    verdict = judge(find(text), Answer.WARM, 5.0, False)
    assert verdict.ruling is Ruling.DISCARD
    assert "less than 6 hours" in verdict.strict
    assert "stricter" in verdict.strict
    assert judge(find(text), Answer.WARM, 6.0, False).strict == ""  # there all copies agree
    assert judge(find(text), Answer.WARM, None, False).strict  # it may have been less


@pytest.mark.parametrize("text", ["pastry", "waffles", "bagels"])
def test_stricter_ever(text):
    """Crusts and breakfast foods go by the stricter copy, and it is said however long it was."""
    verdict = judge(find(text), Answer.WARM, 30.0, False)
    assert verdict.ruling is Ruling.DISCARD
    assert "stricter" in verdict.strict


@each
@pytest.mark.parametrize("answer", Answer)
def test_touched(row, answer):
    """Whatever raw meat juice has touched is thrown out, however cold and whether or not anybody looked further."""
    verdict = judge(of(row), answer, 0.0, True)
    assert verdict.ruling is Ruling.DISCARD
    assert "juice of raw meat" in verdict.rule


@each
@pytest.mark.parametrize("warm", [None, 0.0, 99.0])
def test_unanswered(row, warm):
    """What nobody looked at is not judged, whatever the air was: when in doubt, throw it out."""
    verdict = judge(of(row), Answer.UNKNOWN, warm, False)
    assert verdict.ruling is Ruling.NOT_JUDGED
    assert verdict.rule.endswith("When in doubt, throw it out.")


def test_ice_cream():
    """Ice cream is thrown out in both columns, and kept only where the air shows that it never softened."""
    cream = find("ice cream")
    assert judge(cream, Answer.COLD, 0.0, False).ruling is Ruling.DISCARD
    assert judge(cream, Answer.WARM, 0.5, False).ruling is Ruling.DISCARD
    assert judge(cream, Answer.COLD, None, False, softened=False).ruling is Ruling.REFREEZE
    assert judge(cream, Answer.WARM, None, False, softened=False).ruling is Ruling.DISCARD
    assert "melted" in " ".join(judge(cream, Answer.COLD, 0.0, False).cautions)


def test_sound():
    """Fruit that was warm is kept only without mould, slime and a smell of yeast, and that is said."""
    verdict = judge(find("plums"), Answer.WARM, 9.0, False)
    assert verdict.ruling is Ruling.IF_SOUND
    assert "mould" in verdict.cautions[0]


def test_unknown_food():
    """A food that nobody can name is judged like the strictest of the common rows, and marked as our choice."""
    verdict = judge(None, Answer.WARM, 3.0, False)
    assert verdict.ruling is Ruling.DISCARD
    assert verdict.source.startswith("our choice")
    assert judge(None, Answer.COLD, None, False).ruling is Ruling.REFREEZE


def test_cautions():
    """With food that is kept it is said: at once, use first, each by itself, never taste, drip, doubt."""
    said = " ".join(judge(find("venison"), Answer.COLD, None, False).cautions)
    for word in ("at once", "use it first", "by itself", "Never taste", "juice of raw meat", "When in doubt"):
        assert word in said
    assert said.count("safe") == said.count("do not prove that it is safe")  # nothing calls food safe


@pytest.mark.parametrize("wrong", [-0.1, float("nan")])
def test_wrong_hours(wrong):
    """Hours below nothing, or no number, are refused with the figure."""
    with pytest.raises(ValueError, match=str(wrong)):
        judge(None, Answer.WARM, wrong, False)


@given(foods, st.sampled_from([Answer.COLD, Answer.WARM]), hours, hours, st.booleans())
def test_never_softer(food, answer, one, other, touched):
    """A verdict never softens as the hours above 40 °F grow, and unknown hours are the longest."""
    less, more = (judge(food, answer, warm, touched) for warm in sorted((one, other)))
    assert harsh(less) <= harsh(more) <= harsh(judge(food, answer, None, touched))


@given(foods, st.none() | hours)
def test_warm_no_softer(food, warm):
    """Warm is never judged softer than cold, nor touched softer than clean."""
    cold = judge(food, Answer.COLD, warm, False)
    assert harsh(cold) <= harsh(judge(food, Answer.WARM, warm, False))
    assert judge(food, Answer.COLD, warm, True).ruling is Ruling.DISCARD


@given(foods, st.none() | hours, st.sampled_from(list(Answer)), st.booleans())
def test_said(food, warm, answer, touched):
    """Every verdict has its rule and source, and whatever is not thrown out says what to do in doubt."""
    verdict = judge(food, answer, warm, touched)
    assert verdict.rule
    assert verdict.source
    if verdict.ruling is not Ruling.DISCARD:
        assert "When in doubt, throw it out." in verdict.cautions


def test_cold_by_probe():
    """A warmest probe that stayed at or below 4.4 °C throughout answers cold by itself, 4.4 °C included."""
    assert answer_of(CURVE, False) is Answer.COLD
    assert answer_of(replace(CURVE, above={}, at_most={}), False) is Answer.COLD


@pytest.mark.parametrize(
    ("curve", "dark"),
    [
        (replace(CURVE, peak=4.41), False),
        (replace(CURVE, peak=None), False),
        (replace(CURVE, peak=float("nan")), False),
        (replace(CURVE, gaps=MINUTE), False),
        (replace(CURVE, at_most={"4.4": MINUTE}), False),
        (replace(CURVE, above={"4.4": MINUTE}), False),
        (CURVE, True),
    ],
)
def test_somebody_must_look(curve, dark):
    """Above 4.4 °C, after a gap or a dark spell, or with no figure, somebody must look."""
    assert answer_of(curve, dark) is Answer.UNKNOWN


@given(foods, st.floats(-30, 40), st.floats(0, 50), st.booleans())
def test_air_alone(food, peak, gaps, dark):
    """Warm air alone never throws anything out, and a gap never makes food safer."""
    curve = replace(CURVE, peak=peak, gaps=gaps)
    answer = answer_of(curve, dark)
    assert answer is not Answer.WARM
    whole = answer_of(replace(curve, gaps=0.0), False)
    assert answer is Answer.UNKNOWN or whole is Answer.COLD
    if peak > 4.4:
        assert judge(food, answer, None, False).ruling is Ruling.NOT_JUDGED
    if stayed_hard(curve, dark):
        assert judge(food, answer, None, False, softened=False).ruling is Ruling.REFREEZE
        assert peak <= -12
        assert gaps == 0


def test_unknown_row():
    """The row of the unknown is no softer than that of any common food."""
    unknown = ROWS[Category.UNKNOWN]
    assert all(HARSHER.index(row.warm) <= HARSHER.index(unknown.warm) for row in ROWS.values())
