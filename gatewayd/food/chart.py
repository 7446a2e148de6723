"""The published chart of what to keep and what to throw out after a warm spell, row by row.

USDA FSIS, "Keeping Food Safe During an Emergency", and its copy at FoodSafety.gov, both for frozen food. The chart has
two columns. Cold: there are ice crystals, or it is as cold as a refrigerator, 40 °F (4.4 °C) or below. Warm: it was
above that for more than 2 hours. Where copies of the chart differ, the stricter one counts here, and the row says so.
"""

from dataclasses import dataclass

from gatewayd.food.row import Category
from gatewayd.model.excursion import Ruling

COLD = 4.4  # °C, 40 °F; food at just this is still cold ("40 °F or below", USDA)
WARM_AFTER = 2.0  # h above it; the warm column begins beyond ("for more than 2 hours", USDA)
JUICE_UNTIL = 6.0  # h above it; vegetable juice is kept "if held above 40 °F for less than 6 hours" (USDA): 6 h is out

SOURCE = 'USDA FSIS, "Keeping Food Safe During an Emergency", frozen food (the same chart is at FoodSafety.gov)'
DERIVED = f"our choice, not a row of the chart: {{why}} Taken from {SOURCE}"


@dataclass(frozen=True, slots=True)
class Row:
    """Hold one row: what its two columns say, and how sure the row is.

    `name` is for people. `until` is for how many hours above 40 °F the cold column still holds where that is not the
    chart's 2 h. `loss` is what refreezing costs. `strict` says which copies differ and what was taken, `derived` why a
    row that the chart does not print was made; both are empty as a rule. `printed` is the warm column of the USDA's own
    copy where the stricter one counts here, and `printed_until` its hours.
    """

    category: Category
    name: str
    cold: Ruling
    warm: Ruling
    until: float | None = None
    loss: str = ""
    strict: str = ""
    derived: str = ""
    printed: Ruling | None = None
    printed_until: float | None = None

    @property
    def source(self) -> str:
        """Return where the row comes from, and that it is ours if it is."""
        return DERIVED.format(why=self.derived) if self.derived else SOURCE


_KEEP, _SOUND, _OUT = Ruling.REFREEZE, Ruling.IF_SOUND, Ruling.DISCARD

_TEXTURE = "It may lose some texture."
_FLAVOUR = "It loses some texture and flavour when frozen again."
# University of Connecticut, EDEN copy of the chart: plain "discard"
_SIX_HOURS = (
    "Copies of the chart differ: the USDA keeps vegetables that were above 40 °F for less than 6 hours, the University "
    "of Connecticut's copy throws them out after 2 hours. The stricter one counts here: 2 hours."
)
# National Ag Safety Database (NASD) copy: "discard"
_CRUSTS = (
    "Copies of the chart differ: the USDA keeps pie crusts and dough even when warm, the National Ag Safety Database's "
    "copy throws pie crusts out. The stricter one counts here."
)
_WAFFLES = (
    "Copies of the chart differ: the USDA keeps breakfast foods even when warm, the University of Connecticut's copy "
    "throws waffles and pancakes out and keeps bagels. The stricter one counts here for all of them."
)

_ALL = (
    Row(Category.MEAT, "beef, veal, lamb, pork, game and minced meat", _KEEP, _OUT),
    Row(Category.POULTRY, "poultry, whole, in pieces or minced", _KEEP, _OUT),
    Row(Category.OFFAL, "liver, kidney, heart and the like", _KEEP, _OUT),
    Row(Category.STEW, "stews, soups and casseroles", _KEEP, _OUT),
    Row(Category.FISH, "fish, shellfish and breaded seafood", _KEEP, _OUT, loss=_FLAVOUR),
    Row(Category.MILK, "milk", _KEEP, _OUT, loss=_TEXTURE),
    Row(Category.EGG, "eggs out of the shell", _KEEP, _OUT),
    Row(Category.ICE_CREAM, "ice cream and frozen yogurt", _OUT, _OUT),
    Row(Category.SOFT_CHEESE, "soft and semi-soft cheese", _KEEP, _OUT, loss=_TEXTURE),
    Row(Category.HARD_CHEESE, "hard cheese", _KEEP, _KEEP),
    Row(Category.GRATED_CHEESE, "grated cheese", _KEEP, _OUT),
    Row(Category.CREAMY, "casseroles with milk, cream, eggs or soft cheese", _KEEP, _OUT),
    Row(Category.CHEESECAKE, "cheesecake", _KEEP, _OUT),
    Row(Category.FRUIT_JUICE, "fruit juice", _KEEP, _SOUND),
    Row(Category.FRUIT, "fruit and berries", _KEEP, _SOUND, loss=_FLAVOUR),
    Row(Category.VEGETABLE_JUICE, "vegetable juice", _KEEP, _OUT, JUICE_UNTIL),
    Row(
        Category.VEGETABLE, "vegetables", _KEEP, _OUT,
        loss=_FLAVOUR, strict=_SIX_HOURS, printed=_OUT, printed_until=JUICE_UNTIL,
    ),
    Row(Category.BREAD, "bread, rolls, muffins and cakes without custard", _KEEP, _KEEP),
    Row(Category.CUSTARD, "cakes, pies and pastries with custard or cheese", _KEEP, _OUT),
    Row(
        Category.DOUGH, "pie crusts and dough", _KEEP, _OUT,
        loss="It loses some of its quality.", strict=_CRUSTS, printed=_KEEP,
    ),
    Row(Category.PASTA, "casseroles of pasta or rice", _KEEP, _OUT),
    Row(Category.FLOUR, "flour, nuts and seeds", _KEEP, _KEEP),
    Row(Category.BREAKFAST, "waffles, pancakes and bagels", _KEEP, _OUT, strict=_WAFFLES, printed=_KEEP),
    Row(Category.READY, "ready meals, pizza and meat pies", _KEEP, _OUT),
    Row(
        Category.STOCK, "stock, broth and gravy", _KEEP, _OUT,
        derived="judged like soup; the chart for refrigerated food throws out gravy and broth too.",
    ),
    Row(
        Category.HERB, "herbs", _KEEP, _OUT, loss=_FLAVOUR, strict=_SIX_HOURS, derived="judged like vegetables.",
        printed=_OUT, printed_until=JUICE_UNTIL,
    ),
    Row(
        Category.PESTO, "pesto and herbs in oil", _KEEP, _OUT,
        derived="judged with care: herbs in oil have little acid and no air.",
    ),
    Row(
        Category.TOMATO, "tomato sauce and puree without meat", _KEEP, _OUT,
        loss=_FLAVOUR, strict=_SIX_HOURS, derived="judged like vegetables.", printed=_OUT, printed_until=JUICE_UNTIL,
    ),
    Row(
        Category.BUTTER, "butter and margarine", _KEEP, _KEEP,
        derived="judged by the chart for refrigerated food, which keeps both after more than 2 hours above 40 °F.",
    ),
    Row(
        Category.CURED, "bacon, ham, sausages and the like", _KEEP, _OUT,
        derived="judged by the chart for refrigerated food, which throws them out.",
    ),
    Row(Category.PUREE, "fruit puree and fruit pies", _KEEP, _SOUND, derived="judged like fruit."),
    Row(
        Category.UNKNOWN, "food that nobody can name", _KEEP, _OUT,
        loss="Keep it only if there are ice crystals in it; if it may be ice cream, throw it out once it has softened.",
        derived="judged like the strictest rows, and never by a sensor alone.",
    ),
)  # fmt: skip

ROWS = {row.category: row for row in _ALL}
