"""The way in: the code, the password, sign-ins, and who is kept out."""

from pathlib import Path

import pytest

from tests.web.open_house import open_house

pytestmark = pytest.mark.rig


async def test_first_phone_sets_the_password(tmp_path: Path) -> None:
    """The first phone is led to the set-up, sets the password with the code, and is in."""
    async with open_house(tmp_path, signed_in=False) as house:
        page = await house.phone.get("/")
        assert page.path.startswith("/set-up")
        refused = await house.phone.set_up("0000 0000")
        code = house.code.make()
        page = await house.phone.set_up(code)

    assert refused.status == 422
    assert "not the code" in refused.words
    assert (page.status, page.path) == (200, "/")


async def test_form_without_its_word(tmp_path: Path) -> None:
    """A form that does not carry the word of its own page changes nothing."""
    async with open_house(tmp_path) as house:
        page = await house.phone.post("/sign-out", {"csrf": "forged"})
        still = await house.phone.get("/")

    assert page.status == 403
    assert (still.status, still.path) == (200, "/")
