"""What a list means for its freezer."""

import pytest

from gatewayd.food.load import Much, contents, fresh, group, sure
from gatewayd.model.contents import Group
from gatewayd.model.moment import DAY, HOUR
from gatewayd.model.stock import Box, Package, Sure

NOW = 1_795_600_800_000
COUNTED = Box("basket", "Basket", "shed-chest", looked=NOW - DAY, sure=Sure.COUNTED)
GUESSED = Box("crate", "Crate", "shed-chest", looked=NOW - DAY)
HALF = {"shed-chest": 50.0, "porch-chest": 50.0}


def put_in(kg: float | None, ago: int = HOUR, **more: object) -> Package:
    """Return fresh food put in some time ago."""
    return Package(1, "basket", "venison", each=kg, since=NOW - ago, fresh=True, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kg", "much"), [(9.6, Much.FINE), (9.61, Much.MUCH), (14.4, Much.MUCH), (14.41, Much.FAR_TOO_MUCH)]
)
def test_fresh(kg: float, much: Much) -> None:
    """300 L freeze 9.6 to 14.4 kg in 24 h: 2 to 3 lb per cubic foot is 32 to 48 kg/m3 (makers' manuals citing USDA)."""
    assert fresh([put_in(kg)], 300.0, NOW).much is much


def test_fresh_of_a_day() -> None:
    """What went in earlier, or frozen, does not count; what has no weight is counted apart."""
    those = [put_in(5.0, DAY), put_in(5.0, DAY - 1), put_in(None), Package(2, "basket", "trout", each=9.0, since=NOW)]
    found = fresh(those, 300.0, NOW)

    assert (found.kg, found.unweighed) == (5.0, 1)


def test_sure() -> None:
    """A list that nobody looked at for half a year is a guess, whatever it was."""
    assert sure(COUNTED, NOW) is Sure.COUNTED
    assert sure(COUNTED, NOW + 183 * DAY) is Sure.GUESSED
    assert sure(Box("x", "X", sure=Sure.COUNTED), NOW) is Sure.GUESSED


class TestContents:
    def test_by_group(self) -> None:
        """A counted list is summed by groups; a row without a weight is taken at the mean of the others."""
        those = [
            Package(1, "basket", "venison", 4, 2.0), Package(2, "basket", "beans", 10, 1.0),
            Package(3, "basket", "dragon stew", 2), Package(4, "basket", "trout", 9, 9.0, gone=NOW),
        ]  # fmt: skip

        assert contents([COUNTED], those, HALF, NOW) == {
            "shed-chest": {Group.MEAT: 8.0, Group.PRODUCE: 10.0, Group.MEALS: 3.0}
        }

    def test_guessed(self) -> None:
        """A list that is a guess tells only that there is more than half full."""
        few, many = Package(1, "crate", "venison", 10, 4.0), Package(1, "crate", "venison", 10, 6.0)

        assert contents([GUESSED], [few], HALF, NOW) == {}
        assert contents([GUESSED], [many], HALF, NOW) == {"shed-chest": {Group.MEAT: 60.0}}

    def test_hardly_weighed(self) -> None:
        """A list most of which has no weight tells nothing."""
        those = [Package(1, "basket", "venison", 1, 2.0), Package(2, "basket", "beans"), Package(3, "basket", "plums")]

        assert contents([COUNTED], those, HALF, NOW) == {}

    def test_freezer_gone(self) -> None:
        """Food in a freezer that the settings do not have is no freezer's."""
        assert (
            contents([Box("b", "B", "old", looked=NOW, sure=Sure.COUNTED)], [Package(1, "b", "x", 1, 1.0)], HALF, NOW)
            == {}
        )


def test_group() -> None:
    """A food goes by the group of the food table, an unknown one by cooked dishes."""
    assert (group("trout"), group("Plums"), group("dragon stew")) == (Group.MEAT, Group.PRODUCE, Group.MEALS)
