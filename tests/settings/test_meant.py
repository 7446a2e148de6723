"""What is allowed and hardly meant: said for the file by id and key, for the pages by name and label."""

import pytest

from gatewayd.settings.faults import Said, SettingsError, words_of
from tests.settings.conftest import Load, changed

FREEZER = "    sensors: [shed-air]\n"

# limits; the warning, as the file and as the pages have it
ODD = [
    ("{high: -8 °C}", "high -8 °C is warmer than −9 °C, so its alarm comes late", "Too warm above"),
    ("{high: -25 °C}", "high -25 °C is colder than −18 °C", "Too warm above"),
    ("{highhigh: 1 °C}", "highhigh 1 °C is above freezing", "Far too warm above"),
    ("{high_on_delay: 5 h}", "high_on_delay 5 h is longer than 4 h", "Too warm for so long"),
    ("{highhigh_on_delay: 3 h}", "highhigh_on_delay 3 h is longer than 2 h", "Far too warm for so long"),
    ("{off_delay: 1 day}", "off_delay 1 day is longer than 2 h", "Cold again for so long"),
    ("{deadband: 20 °C}", "deadband 20 °C is more than 5 °C", "Over again when colder by"),
    ("{unwatched: 5 h, unwatched_high: 6 h}", "unwatched 5 h is longer than 4 h", "No reading for so long"),
    ("{unwatched_high: 7 days}", "unwatched_high 7 days is longer than 1 day", "No reading for so long is urgent"),
    ("{rising_within: 0}", "rising_within 0 means", "Warming up, too warm within"),
    ("{lid_open: 0}", "lid_open 0 means that an open lid is never told of", "Lid open for so long"),
]


@pytest.mark.parametrize(("limits", "said", "label"), ODD, ids=[one[0] for one in ODD])
def test_odd_limit_is_a_warning(limits: str, said: str, label: str, load_text: Load) -> None:
    """A limit that hides an alarm loads, with one warning that says what follows."""
    name = "    name: Trout chest\n"
    warnings = load_text(changed(FREEZER, f"{FREEZER}{name}    limits: {limits}\n")).warnings

    assert len(warnings) == 1
    assert warnings[0].startswith(f"freezer shed-chest: {said}")
    assert words_of(warnings[0]).startswith(f"Trout chest, “{label}”: ")


@pytest.mark.parametrize(
    "limits",
    [
        "{high: -18 °C, deadband: 5 °C, off_delay: 2 h, unwatched: 4 h, unwatched_high: 1 day}",
        "{high: -9 °C, high_on_delay: 4 h, highhigh: 0 °C, highhigh_on_delay: 2 h}",
    ],
)
def test_widest_limits_that_are_meant(limits: str, load_text: Load) -> None:
    """Limits that somebody may well mean are not warned of."""
    assert load_text(changed(FREEZER, f"{FREEZER}    limits: {limits}\n")).warnings == ()


def test_bound_in_the_scale_of_the_house(load_text: Load) -> None:
    """In a house of °F the bound of a warning is in °F."""
    text = changed(FREEZER, f"{FREEZER}    limits: {{high: 18 °F}}\n").replace("site:\n", "site:\n  units: °F\n")

    assert "high 18 °F is warmer than 16 °F" in load_text(text).warnings[0]


def test_namesakes(load_text: Load) -> None:
    """Two freezers of one name, and two people, are warned of."""
    text = changed(FREEZER, f"{FREEZER}    name: Trout\n  porch: {{name: trout}}\n")
    warnings = load_text(text.replace("people:\n", "people:\n  ben: {name: Anna}\n")).warnings

    assert "freezers shed-chest and porch are both called trout" in warnings
    assert "people ben and anna are both called Anna" in warnings
    assert "there is another freezer called trout; a message may mean either" in map(words_of, warnings)


def test_contradiction_in_words(load_text: Load) -> None:
    """Limits that contradict each other are said on the pages by their labels, in the house's scale."""
    for limits, said in (
        ("{high: -5 °C}", "“Too warm above” (−5.0 °C) must be colder than “Far too warm above” (−6.7 °C)."),
        ("{unwatched: 5 h}", "“No reading for so long” (5 h) must not be longer than "),
    ):
        with pytest.raises(SettingsError) as wrong:
            load_text(changed(FREEZER, f"{FREEZER}    limits: {limits}\n"))
        assert [Said.of(fault).short.startswith(said) for fault in wrong.value.faults] == [True]
