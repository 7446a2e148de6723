"""The pages of the stock: found, taken out, put in, undone, brought in from a file."""

import asyncio
import io
import re
from pathlib import Path
from time import perf_counter
from urllib.parse import quote

import aiohttp
import pytest

from gatewayd.web.shelf import way_back
from tests.web.larder import BEANS, HOSTILE, put, rows, stocked
from tests.web.open_house import Opened, open_house
from tests.web.phone import Page, Phone

pytestmark = pytest.mark.rig


async def test_one_tap_takes_one_out(tmp_path: Path) -> None:
    """Who looks for beans takes one out with one tap, and undoes it with another."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.get("/stock?q=beans+basket")
        assert "12 bags of runner beans" in page.words
        assert "Top basket in Shed chest" in page.words
        taken = await house.phone.press("/stock/do", has={"number": "1"}, do="take")
        left = (await rows(house))[1].count
        undone = await house.phone.press("/stock/undo")

    assert taken.path.replace("+", " ") == "/stock?q=beans basket"
    assert "Taken out: 1 bag of runner beans" in taken.words
    assert left == 11
    assert "it is as before" in undone.words
    assert "12 bags of runner beans" in undone.words


async def test_undo_where_it_was_said(tmp_path: Path) -> None:
    """The sentence that says what was done has the button that takes it back, on whatever page it stands, once."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        for way in ("/stock?q=beans", "/use-first", "/box/top-basket", "/stock/1"):
            await house.phone.get(way)
            said = await house.phone.press("/stock/do", has={"number": "1"}, do="take")
            banner = said.text[said.text.index('<div class="said done undo">') :].partition("</div>")[0]
            form = dict(said.sheets[0].fields)
            taken = (await rows(house))[1].count
            undone = await house.phone.post("/stock/undo", form)
            twice = await house.phone.post("/stock/undo", form)

            assert "Taken out: 1 bag of runner beans" in banner
            assert "Undo</button>" in banner
            assert (said.sheets[0].action, taken, (await rows(house))[1].count) == ("/stock/undo", 11, 12)
            assert "12 bags of runner beans are on the list again" in undone.words
            assert "taken out: 12" not in undone.words
            assert "Undone" in twice.words
            assert undone.path == said.path
        await house.phone.get("/stock/add")
        added = await house.phone.press("/stock/add", words="13 plums, top basket")
        await house.phone.get("/stock/new-box")
        made = await house.phone.press("/stock/new-box", name="Blue tub")
        gone = await house.phone.press("/stock/undo")

    assert "Added: 13 × plums; Top basket in Shed chest" in added.words
    assert made.path == "/box/blue-tub"
    assert "Blue tub is off the list again" in gone.words
    assert gone.path == "/stock"


async def test_a_form_sent_twice_takes_one(tmp_path: Path) -> None:
    """Cold fingers that tap twice take one out."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock?q=beans")
        form = dict(house.phone.page.sheet("/stock/do", number="1").fields) | {"do": "take"}
        await house.phone.post("/stock/do", form)
        await house.phone.post("/stock/do", form)
        assert (await rows(house))[1].count == 11


async def test_undo_of_what_was_not_shown(tmp_path: Path) -> None:
    """An undo whose order is no longer the last undoes nothing of somebody else's."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock")
        form = dict(house.phone.page.sheet("/stock/undo").fields)
        await put(house, do="take", what="1")
        page = await house.phone.post("/stock/undo", form)
        assert "Something else was done since" in page.words
        assert (await rows(house))[1].count == 11


async def test_used_thrown_moved(tmp_path: Path) -> None:
    """A package is used up, thrown out, or moved in part to another box."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/1")
        moved = await house.phone.press("/stock/do", has={"do": "move"}, to="box:red-crate", n="2")
        nowhere = await house.phone.press("/stock/do", has={"do": "move"}, to="")
        await house.phone.get("/stock?q=trout")
        used = await house.phone.press("/stock/do", has={"number": "2"}, do="use")
        await house.phone.get("/stock?q=beans")
        thrown = await house.phone.press("/stock/do", has={"number": "1"}, do="throw")
        found = await rows(house)
        gone = await house.phone.get("/stock/1")

    assert "Moved: " in moved.words
    assert "Choose where it goes" in nowhere.words
    assert "Used up: " in used.words
    assert "Thrown out: " in thrown.words
    assert [(one.box, one.count) for one in found.values()] == [("red-crate", 2)]
    assert "off the list" in gone.words


async def test_words_put_food_in(tmp_path: Path) -> None:
    """Several lines go in at once, with hints and the warning of too much at once, and without a word of commands."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/add?box=red-crate")
        words = "2 bags of trutt\n60 bags of beef, 1 lb, fresh\nplums, top basket"
        page = await house.phone.press("/stock/add", words=words)
        found = await rows(house)

    assert [found[number].box for number in (3, 4, 5)] == ["red-crate", "red-crate", "top-basket"]
    assert "Did you mean trout?" in page.words
    assert "Too much at once" in page.words
    assert "gatewayd" not in page.words


async def test_wrong_words_stay(tmp_path: Path) -> None:
    """A line that is not understood adds nothing, and all that was typed is still there."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/add")
        page = await house.phone.press("/stock/add", words="2 plums\n3 kg of pears, nowhere land")
        assert len(await rows(house)) == 2

    assert page.status == 422
    assert "line 2" in page.words
    assert "3 kg of pears, nowhere land" in page.text
    assert "gatewayd" not in page.words


async def test_fields_put_food_in(tmp_path: Path) -> None:
    """The same goes in field by field; a wrong field is named and the others stay."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/add?box=top-basket")
        wrong = await house.phone.press("/stock/add/one", food="plums", count="many", note="tart")
        page = await house.phone.press("/stock/add/one", count="3", each="500 g", frozen="about June 2026")
        one = (await rows(house))[3]

    assert wrong.status == 422
    assert "How many:" in wrong.words
    assert "Added: 3 × plums," in page.words
    assert page.path == "/box/top-basket"
    assert (one.food, one.count, one.each, one.about, one.note, one.box) == (
        "plums", 3, 0.5, True, "tart", "top-basket",
    )  # fmt: skip


async def test_change_one_field(tmp_path: Path) -> None:
    """Changing the note of a package leaves its weight to the gram, and a taking of somebody else's between."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/1")
        await put(house, do="take", what="1")
        await house.phone.press("/stock/1", note="from Ben")
        one = (await rows(house))[1]
        wrong = await house.phone.press("/stock/1", each="1 stone of")
        await house.phone.get("/stock/1")
        await house.phone.press("/stock/1", note="", frozen="")
        bare = (await rows(house))[1]

    assert (one.note, one.count, one.each) == ("from Ben", 11, BEANS)
    assert wrong.status == 422
    assert "1 stone of" in wrong.text
    assert (bare.note, bare.frozen) == ("", None)


@pytest.mark.parametrize("text", HOSTILE)
async def test_hostile_words(tmp_path: Path, text: str) -> None:
    """What somebody writes into a field comes out as text, whatever it is, or is refused in words."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        await house.phone.get("/stock/add?box=top-basket")
        for field in ("food", "note", "packed", "who"):
            await house.phone.press("/stock/add/one", **({"food": "plums"} | {field: text}))
            if "add" not in house.phone.page.path:
                await house.phone.get("/stock/add?box=top-basket")
        await house.phone.get("/stock/new-box")
        await house.phone.press("/stock/new-box", name=text[:60], layer=text[:60])
        for path in ("/stock", f"/stock?q={quote(text)}", "/stock/history", "/use-first", "/print/stock?freezer=all",
                     "/print/labels?all", "/box/top-basket", "/stock/3", f"/stock?group={quote(text)}"):  # fmt: skip
            page = await house.phone.get(path)
            assert page.status in (200, 404)
            assert "<script>" not in page.text
            assert "<b>" not in page.text
        file = (await house.phone.get("/stock/list.csv")).text
    assert not re.search(r"(?m)(^|,)\"?[=+@-]", file)


async def test_forged(tmp_path: Path) -> None:
    """A form without the word of its own page takes nothing out."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await house.phone.post("/stock/do", {"csrf": "forged", "number": "1", "do": "take"})
        assert page.status == 403
        assert (await rows(house))[1].count == 12


async def test_look_only(tmp_path: Path) -> None:
    """Who may only look sees the stock on every page, and nothing to tap that changes it."""
    async with open_house(tmp_path) as house, Phone(house.begins) as phone:
        await stocked(house)
        word = house.lock.add_link("the kitchen", "ann", 0)
        await phone.get(f"/look/{word}")
        for path in ("/stock", "/stock?q=beans", "/stock/1", "/box/top-basket", "/use-first", "/stock/history",
                     "/stock/file", "/stock/add", "/box/top-basket/count", "/print/labels?all"):  # fmt: skip
            page = await phone.get(path)
            assert (page.status, page.path.partition("?")[0]) == (200, path.partition("?")[0])
            assert {sheet.action for sheet in page.sheets} <= {"/sign-out", "/stock", "/use-first"}


async def test_five_thousand(tmp_path: Path) -> None:
    """With 5 000 packages every page is light and there within a second."""
    async with open_house(tmp_path) as house:
        await stocked(house, many=5000)
        for path in ("/stock", "/stock?q=beans", "/use-first", "/box/top-basket", "/stock/history", "/stock/1",
                     "/stock/add", "/box/top-basket/count"):  # fmt: skip
            begin = perf_counter()
            page = await house.phone.get(path)
            assert page.status == 200
            assert perf_counter() - begin < 1, path
            assert page.size < 20_000, (path, page.size)


async def test_history_goes_back(tmp_path: Path) -> None:
    """The history shows 50 lines, and those before on the next page."""
    async with open_house(tmp_path) as house:
        await stocked(house, many=120)
        page = await house.phone.get("/stock/history")
        older = next(link for link in page.links if "below" in link)
        again = await house.phone.get(older)
    assert page.text.count("<li><p><strong>") == 50
    assert again.text.count("<li><p><strong>") == 50


# -- a file ----------------------------------------------------------------------------------------------------


async def _send(house: Opened, text: str, **fields: str) -> Page:
    await house.phone.get("/stock/file")
    form = aiohttp.FormData()
    for name, value in (dict(house.phone.page.sheet("/stock/file").fields) | fields).items():
        if name != "file":
            form.add_field(name, value)
    form.add_field("file", io.BytesIO(text.encode()), filename="list.csv", content_type="text/csv")
    return await house.phone.post("/stock/file", form)


async def test_file_is_looked_at_first(tmp_path: Path) -> None:
    """A file shows what it would bring and changes nothing; the yes brings all of it in, once."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await _send(
            house, "food,count,box,freezer\nplums,3,New crate,Shed chest\n=peas,1,New crate,Shed chest\n"
        )
        before = len(await rows(house))
        form = dict(page.sheet("/stock/file/import").fields)
        done = await house.phone.post("/stock/file/import", form)
        await house.phone.post("/stock/file/import", form)
        after = await rows(house)
        late = await house.phone.post("/stock/file/import", form | {"key": "another"})

    assert "2 new" in page.words
    assert "New crate in Shed chest, for 2 rows" in page.words
    assert page.sheet("/stock/file/import").buttons == ["Import these 2"]
    assert before == 2
    assert "Imported: 2 added" in done.words
    assert sorted(one.food for one in after.values()) == ["=peas", "plums", "runner beans", "trout"]
    assert "does not wait here any more" in late.words


async def test_bad_lines_are_all_named(tmp_path: Path) -> None:
    """Each bad line is named with its number, and nothing of the file goes in."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        page = await _send(house, "food,count\nplums,3\npears,minus\n,4\n<script>,none\n")
        assert len(await rows(house)) == 2
    assert page.status == 422
    assert all(f"line {line}" in page.words for line in (3, 4, 5))
    assert "/stock/file/import" not in page.text
    assert "gatewayd" not in page.words
    assert "--" not in page.words


async def test_columns_are_matched(tmp_path: Path) -> None:
    """A column whose name is not known is matched on the page, and the file need not be sent again."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        wrong = await _send(house, "Lebensmittel,Anzahl,Farbe\nplums,3,blue\n")
        page = await house.phone.press(
            "/stock/file/again", **{"column-0": "food", "column-1": "count", "column-2": "-"}
        )
        await house.phone.press("/stock/file/import")
        found = (await rows(house))[3]
    assert wrong.status == 422
    assert "1 new" in page.words
    assert (found.food, found.count) == ("plums", 3)


async def test_list_that_changed_since(tmp_path: Path) -> None:
    """Two people who bring in the same file bring it in once: the second is asked to look again."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        text = "food,count,box,freezer\nplums,3,Red crate,Shed chest\npeas,3,Red crate,Shed chest\n"
        first = dict((await _send(house, text)).sheet("/stock/file/import").fields)
        second = dict((await _send(house, text)).sheet("/stock/file/import").fields)
        await house.phone.post("/stock/file/import", first)
        page = await house.phone.post("/stock/file/import", second)
        assert len(await rows(house)) == 4
    assert page.status == 409
    assert "changed since you looked" in page.words


async def test_file_of_five_thousand(tmp_path: Path) -> None:
    """A file of 5 000 lines goes in whole, and comes out as it is."""
    async with open_house(tmp_path) as house:
        lines = "".join(f"beans {n},{n % 9 + 1},Crate {n % 40},Shed chest\n" for n in range(5000))
        page = await _send(house, f"food,count,box,freezer\n{lines}")
        done = await house.phone.press("/stock/file/import")
        out = await house.phone.get("/stock/list.csv")
    assert "5000 new" in page.words
    assert "Imported: 5000 added" in done.words
    assert out.text.count("\r\n") == 5001
    assert "attachment" in out.headers["Content-Disposition"]


async def test_file_with_too_many_rows(tmp_path: Path) -> None:
    """A file that could not be imported is refused when it is looked at, also three of them at once."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        pages = await asyncio.gather(*(_send(house, "food\n" + "a\n" * 60_000) for _ in range(3)))
    assert [page.status for page in pages] == [422] * 3
    assert "the file has more than 50000 rows; cut it into several" in pages[0].words
    assert "/stock/file/import" not in pages[0].text


async def test_two_yes_at_once(tmp_path: Path) -> None:
    """Of two different yes to one file at once one brings it in, and the other is told that it waits no more."""
    async with open_house(tmp_path) as house:
        await stocked(house)
        form = dict((await _send(house, "food,count\nplums,3\n")).sheet("/stock/file/import").fields)
        both = await asyncio.gather(
            *(house.phone.post("/stock/file/import", form | {"key": key}) for key in ("one", "two"))
        )
        again = await house.phone.post("/stock/file/again", form)
        assert len(await rows(house)) == 3
    assert sum("does not wait here any more" in page.words for page in both) == 1
    assert "does not wait here any more" in again.words


async def test_wrong_files(tmp_path: Path) -> None:
    """No file at all, and one that is too long, are answered in a sentence."""
    async with open_house(tmp_path) as house:
        await house.phone.get("/stock/file")
        none = await house.phone.press("/stock/file")
        long = await _send(house, "x" * (3 << 20))
    assert none.status == 422
    assert "Choose a file" in none.words
    assert long.status == 413


@pytest.mark.parametrize("way", ["//evil.test", "https://evil.test", "/stock\r\nX: y", "/settings", "/stockings", ""])
def test_way_back(way: str) -> None:
    """A form leads back to the stock's own pages and nowhere else."""
    assert way_back(way, "/stock") == "/stock"
    assert way_back("/stock?q=plums%20porch&page=2", "/stock") == "/stock?q=plums%20porch&page=2"
