"""The page itself: readable by day and by night, small, and closed."""

import re

import pytest

from gatewayd.web.page import STYLE, page


def _light(colour: str) -> float:
    """Return the relative luminance (WCAG 2.2, "relative luminance")."""
    wide = colour if len(colour) == 6 else "".join(c * 2 for c in colour)
    parts = [int(wide[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(("part", "least"), [("body", 15), (r"\.house", 7), ("button", 7)])
def test_contrast(part: str, least: float) -> None:
    """Text stands out from what lies under it in both themes, by 7:1 at least (WCAG 2.2, 1.4.6)."""
    grounds = {}
    for theme, css in zip(("light", "dark"), STYLE.split("@media"), strict=True):
        body = re.search(r"body\{[^}]*?background:#(\w+)", css)
        rule = re.search(part + r"\{([^}]*)\}", css)
        assert body is not None
        assert rule is not None
        ink = re.search(r"(?:^|;|\n)color:#(\w+)", rule[1])
        ground = re.search(r"background:#(\w+)", rule[1]) or body
        assert ink is not None
        low, high = sorted((_light(ink[1]), _light(ground[1])))
        grounds[theme] = (high + 0.05) / (low + 0.05)

    assert min(grounds.values()) >= least, grounds


def test_fits_a_small_phone() -> None:
    """Nothing has a fixed width, long words are broken, and the button is as wide as the page and 44 px high."""
    text = page("Heron Lane", "Shed chest", ["x" * 500], "I have seen it")

    assert not re.search(r"(?<![-\w])width:\s*\d+px", text)
    for needed in ("overflow-wrap:anywhere", "width:100%", "min-height:44px", 'name="viewport"'):
        assert needed in text
    assert len(text) < 4096


def test_without_a_button() -> None:
    """A page without a button has no form, and lines that say nothing leave no gap."""
    text = page("Heron Lane", "Shed chest", ["", "It is over."])

    assert "<form" not in text
    assert text.count("<p>") == 1
