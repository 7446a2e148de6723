"""What is printed of the stock: a sheet for the lid, and labels whose codes open the boxes."""

import re
from pathlib import Path

import pytest
import segno

from gatewayd.web import labels
from gatewayd.web.labels import QUIET, address, drawn, only_here
from tests.web.larder import stocked
from tests.web.open_house import open_house


def modules(picture: bytes) -> set[tuple[int, int]]:
    """Return the dark modules of a code's picture: lines along rows, as `m` and `h` draw them."""
    dark, x, y = set(), 0.0, 0.0
    path = re.findall(r' d="([^"]+)"', picture.decode())[-1]
    for kind, along, down in re.findall(r"([Mmh])(-?[\d.]+)(?:[ ,]?(-?[\d.]+))?", path):
        if kind == "h":
            dark |= {(int(x) + step, int(y)) for step in range(int(along))}
            x += int(along)
        else:
            x, y = (float(along), float(down)) if kind == "M" else (x + float(along), y + float(down))
    return dark


def test_code_says_the_address() -> None:
    """The picture's dark squares are those of the code of the box's own address."""
    said = address("http://192.168.1.20:8470", "top-basket")
    matrix = segno.make_qr(said, error="m").matrix
    wanted = {(x + QUIET, y + QUIET) for y, line in enumerate(matrix) for x, one in enumerate(line) if one}
    assert said == "http://192.168.1.20:8470/box/top-basket"
    assert modules(drawn(said)) == wanted


@pytest.mark.parametrize(
    ("begins", "alone"),
    [("http://127.0.0.1:8470", True), ("http://[::1]:8470", True), ("https://localhost", True),
     ("http://192.168.1.20:8470", False), ("http://[fd00::20]:8470", False), ("http://freezers.local", False)],
)  # fmt: skip
def test_codes_that_no_phone_can_open(begins: str, alone: bool) -> None:
    """An address that leads each device to itself is known as such."""
    assert only_here(begins) is alone


@pytest.mark.rig
async def test_labels_of_a_house_that_only_this_computer_sees(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the codes cannot be opened by a phone the page does not say that they can, and says what to do."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/print/labels?all")
        monkeypatch.setattr(labels, "only_here", lambda _begins: True)
        alone = await house.phone.get("/print/labels?all")
    assert "opens the box's page on a phone" in page.words
    assert "no phone can open" not in page.words
    assert "opens the box's page on a phone" not in alone.words
    assert "no phone can open them" in alone.words


@pytest.mark.rig
async def test_labels(tmp_path: Path) -> None:
    """Each box has a label with its name, place, house and the picture of its code, without inline style."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/print/labels?all")
        one = await house.phone.get("/print/labels?box=red-crate")
        code = await house.phone.get("/box/top-basket/qr.svg")
        none = await house.phone.get("/box/nobody/qr.svg")
    assert "/box/top-basket/qr.svg" in page.links
    assert "/box/top-basket/qr.svg" not in one.links
    assert "Top basket" in page.words
    assert code.headers["Content-Type"].startswith("image/svg+xml")
    assert code.text.encode() == drawn("http://gate.test:8470/box/top-basket")
    assert "style=" not in code.text + page.text
    assert none.status == 404


@pytest.mark.rig
async def test_sheet(tmp_path: Path) -> None:
    """The sheet of a freezer has a square for each of a dozen, a date, and lines for a pen; nothing chosen asks."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/print/stock?freezer=shed-chest")
        box = await house.phone.get("/print/stock?box=red-crate")
        every = await house.phone.get("/print/stock?freezer=all")
        ask = await house.phone.get("/print/stock")
        odd = await house.phone.get("/print/stock?freezer=moon")
    assert page.text.count("<i></i>") == 12 + 3
    assert "Top basket , Shed chest" in every.words
    assert "As of 25 Nov 2026" in page.words
    assert 'class="pen"' in page.text
    assert box.text.count("<i></i>") == 3
    assert "/print/stock?freezer=shed-chest" in ask.links
    assert "Nothing is on its list yet." in odd.words
