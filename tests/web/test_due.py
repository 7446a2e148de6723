"""What is to be done on a page: the list with its ways, noting it as done, and what was done."""

import sqlite3
from pathlib import Path

import pytest

from gatewayd.model.chore import Kind
from gatewayd.model.moment import DAY
from gatewayd.store.chore import chores
from gatewayd.web.due import FEW, way
from tests.web.thawed import thawed
from tests.web.thawing import HOSTILE, WHO, shed

rig = pytest.mark.rig


def settle(conn: sqlite3.Connection, at: int) -> str:
    """Let the house be known since then, by its first settings."""
    conn.execute("INSERT INTO settings VALUES ('v1', ?, 'site: heron-lane')", (at,))
    return "settled"


@rig
async def test_one_full_stop(tmp_path: Path) -> None:
    """A line that is shown without what it says for a terminal ends as a sentence does."""
    async with thawed(tmp_path) as (house, _):
        page = await house.phone.get("/due")
    assert "it was too warm from" in page.words
    assert ".." not in page.words


@rig
async def test_what_is_due_is_noted_as_done(tmp_path: Path) -> None:
    """A year on, gasket and coils are due as one thing; both are written down by one tap and leave the list."""
    async with shed(tmp_path) as home:
        store, now = home.house.gateway.store, home.house.clock.now()
        await store.carry_out(lambda conn: settle(conn, now.wall), now, "")
        fresh = await home.phone.get("/due")
        await home.wait(366 * DAY)
        due = await home.phone.get("/due")
        sheet = due.sheet("/due/done", subject=WHO, kind="condenser")  # the last of its two boxes
        kinds = ("kind", "gasket"), ("kind", "condenser")
        fields = [pair for pair in sheet.fields if pair[0] not in ("kind", "note")]
        done = await home.phone.post("/due/done", [*fields, *kinds, ("note", HOSTILE)])
        again = await home.phone.post("/due/done", [*fields, *kinds, ("note", HOSTILE)])
        written = await home.house.home.read(chores)

    assert "Later this year" in fresh.words
    assert "Look at the gasket and coils of Shed chest, overdue since" in due.words
    assert f"/defrost/{WHO}" in due.links
    assert "/sensors" in due.links
    assert "Written down: Shed chest, gasket looked at" in done.words
    assert "look at the gasket" not in done.words.partition("Later this year")[0].lower()
    assert [(one.kind, one.note) for one in written] == [
        (Kind.GASKET, HOSTILE.strip()),
        (Kind.CONDENSER, HOSTILE.strip()),
    ]
    assert again.status == 200
    assert "<script>alert" not in done.text


@rig
async def test_whatever_was_done(tmp_path: Path) -> None:
    """A new battery and a spare are written down by the form below; what does not go together says what does."""
    async with shed(tmp_path) as home:
        await home.phone.get("/due")
        wrong = await home.phone.press("/due/note", subject=WHO, kind="battery", note="kept")
        right = await home.phone.press("/due/note", subject=f"{WHO}-air", kind="battery")
        spare = await home.phone.press("/due/note", subject=f"{WHO}-air", kind="spare", note="kitchen drawer")
        forged = [
            await home.phone.post("/due/note", {**dict(spare.sheet("/due/note").fields), **bad})
            for bad in ({"subject": "attic"}, {"kind": "ice point"}, {"kind": "<script>"}, {"note": "x" * 401})
        ]
        nothing = await home.phone.post("/due/done", {**dict(spare.sheet("/due/note").fields), "kind": ""})

    assert wrong.status == 422
    assert "Battery changed does not go with Shed chest; it goes with: shed-chest probe." in wrong.words
    assert ("note", "kept") in wrong.sheet("/due/note").fields
    assert "Its level is judged anew from here on." in right.words
    assert "kitchen drawer" in spare.words.partition("What was done")[2]
    assert [page.status for page in (*forged, nothing)] == [422] * 5


@rig
async def test_long_history(tmp_path: Path) -> None:
    """Of a long history the newest lines are shown, and all of it when asked for; the page stays small."""
    async with shed(tmp_path) as home:
        for number in range(FEW + 5):
            asked = {"ask": "chore", "do": "add", "subject": WHO, "kind": "note", "note": f"line {number}."}
            await home.house.home.ask(asked, "ann")
            await home.wait(1000)
        few = await home.phone.get("/due")
        everything = await home.phone.get("/due?all=1")

    assert "line 29." in few.words
    assert "line 4." not in few.words
    assert "All of it, 5 more" in few.words
    assert "line 0." in everything.words
    assert few.size < 20_000


@pytest.mark.parametrize(
    ("what", "to", "kinds"),
    [
        ("look at the food of Shed chest", "/what-happened", ()),
        ("defrost Shed chest", "/defrost/shed-chest", ("defrosted",)),
        ("check shed-chest probe in ice", "/sensors", ()),
        ("change the battery of shed-chest probe", "", ("battery",)),
        ("look at the gasket of coils", "", ("gasket",)),
        ("look at the coils of Shed chest", "", ("condenser",)),
        ("look at the gasket and coils of Shed chest", "", ("gasket", "condenser")),
        ("answer the monthly test message", "/people", ()),
        ("see to the nightly copy of the data", "", ()),
    ],
)
def test_ways(what: str, to: str, kinds: tuple[str, ...]) -> None:
    """Each thing that is due leads to the page where it is done, or can be noted as done."""
    found = way(WHO, what)
    assert (found.to, found.kinds) == (to, kinds)
