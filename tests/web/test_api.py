"""JSON under /api/v1: what the pages show and order, checked by its types, for sign-ins and for links to look."""

import json
import threading
from dataclasses import dataclass
from enum import Enum
from io import BytesIO
from pathlib import Path
from typing import Annotated, Any

import hypothesis
import pytest
from hypothesis import strategies as st

from gatewayd.model.pack import pack
from gatewayd.web.api import service
from gatewayd.web.api.fit import Garbled, Unfit, fit, from_query, read
from gatewayd.web.api.says import Says
from tests.web.living import warm
from tests.web.open_house import Opened, open_house

rig = pytest.mark.rig
BASE = "/api/v1"
HOSTILE = ["<script>alert(1)</script>", '=HYPERLINK("http://x")', "x" * 500, "\u202eabc\u202c", "🍓🧊"]


class Colour(Enum):
    """Name a colour."""

    RED = "red"


@dataclass(frozen=True)
class Inner:
    """Hold a number."""

    n: Annotated[int, Says("", least=1, most=9)]


@dataclass(frozen=True)
class Outer:
    """Hold some of each."""

    name: Annotated[str, Says("", shortest=1, longest=5, pattern="[a-z]+")]
    colour: Colour | None = None
    inner: tuple[Inner, ...] = ()
    share: float = 0.0
    sure: bool = False


def test_fitting_value_is_taken() -> None:
    """A value that fits becomes what its type says, and a whole number may be written as 2.0."""
    found = fit(Outer, {"name": "abc", "colour": "red", "inner": [{"n": 2.0}], "share": 1, "sure": True})

    assert found == Outer("abc", Colour.RED, (Inner(2),), 1.0, sure=True)
    assert isinstance(found.inner[0].n, int)


@pytest.mark.parametrize(
    ("plain", "at"),
    [
        ([], ""),
        ({}, "/name"),
        ({"name": 5}, "/name"),
        ({"name": "Abc"}, "/name"),
        ({"name": "abc\n"}, "/name"),
        ({"name": "abcdef"}, "/name"),
        ({"name": "a", "a/b~c": 1}, "/a~1b~0c"),
        ({"name": "a", "colour": "blue"}, "/colour"),
        ({"name": "a", "colour": 1}, "/colour"),
        ({"name": "a", "inner": {}}, "/inner"),
        ({"name": "a", "inner": [{"n": 1}, {"n": 10}]}, "/inner/1/n"),
        ({"name": "a", "inner": [{"n": True}]}, "/inner/0/n"),
        ({"name": "a", "inner": [{"n": 1.5}]}, "/inner/0/n"),
        ({"name": "a", "inner": [{"n": 10**400}]}, "/inner/0/n"),
        ({"name": "a", "share": 10**400}, "/share"),
        ({"name": "a", "share": float("inf")}, "/share"),
        ({"name": "a", "share": "1"}, "/share"),
        ({"name": "a", "sure": "yes"}, "/sure"),
    ],
)
def test_what_does_not_fit_is_pointed_at(plain: Any, at: str) -> None:
    """What does not fit its type is refused with a sentence and a pointer to it."""
    with pytest.raises(Unfit) as wrong:
        fit(Outer, plain)

    assert wrong.value.at == at
    assert str(wrong.value).endswith((".", "…"))


def test_half_a_character_is_refused() -> None:
    """A text with a lone surrogate, which no file can hold, is refused."""
    with pytest.raises(Unfit, match="half of a character"):
        fit(str, json.loads('"\\ud800"'))


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"\xff", b'{"a": NaN}', b'{"a": -Infinity}', b'{"a": 1, "a": 2}', b"[" * 100_000, b"9" * 5000],
)
def test_garbled_json(body: bytes) -> None:
    """What is no JSON, says a thing twice, or is built to break a reader is refused with a sentence."""
    with pytest.raises(Garbled):
        read(body)


def test_query_is_read_by_its_type() -> None:
    """Texts of an address become what the type says; what cannot is refused by name."""
    assert from_query(Inner, {"n": ["3"]}) == Inner(3)
    for given, at in (({"n": ["x"]}, "/n"), ({"n": ["3", "4"]}, "/n"), ({"n": ["3"], "m": ["1"]}, "/m")):
        with pytest.raises(Unfit) as wrong:
            from_query(Inner, given)
        assert wrong.value.at == at


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@hypothesis.given(PLAIN)
def test_written_piece_by_piece(plain: Any) -> None:
    """What is written in pieces is the JSON that the library writes in one."""
    assert service.written(plain) == json.dumps(plain, ensure_ascii=False)


def test_figure_that_is_not_known() -> None:
    """A figure that is no number is written as null, however deep it stands."""
    assert json.loads(service.written({"a": [{"b": [[[float("nan"), 1.5]]]}, float("inf")]})) == {
        "a": [{"b": [[[None, 1.5]]]}, None]
    }


# -- the served house ------------------------------------------------------------------------------------------


@dataclass
class Program:
    """Send JSON as a program does that has signed in."""

    house: Opened
    word: str

    async def get(self, way: str, status: int = 200, **more: Any) -> Any:
        """Look."""
        page = await self.house.phone.get(BASE + way, **more)
        assert page.status == status, page.text
        return json.loads(page.text) if page.text else None

    async def post(self, way: str, plain: Any = None, status: int = 200, **headers: str) -> Any:
        """Order."""
        page = await self.house.phone.post(
            BASE + way, None if plain is None else json.dumps(plain),
            headers={"Content-Type": "application/json", "X-Form-Word": self.word, **headers},
        )  # fmt: skip
        assert page.status == status, page.text
        return json.loads(page.text)


async def program(house: Opened) -> Program:
    """Return a program with the word of its session."""
    page = await house.phone.get(f"{BASE}/me")
    return Program(house, json.loads(page.text)["form_word"])


@rig
async def test_looks(tmp_path: Path) -> None:
    """Every look at the house answers, as it is and in an empty house too."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        me = await it.get("/me")
        freezers = await it.get("/freezers")
        one = await it.get("/freezers/shed-chest")
        for way in ("/house", "/sensors", "/forecast", "/due", "/alarms", "/events", "/stock", "/stock/history",
                    "/use-first", "/excursions", "/defrost", "/frost", "/chores", "/stock/find?words=plums",
                    "/sensors/shed-chest-air/curve", "/sensors/shed-chest-air/check",
                    "/sensors/shed-chest-air/checks"):  # fmt: skip
            await it.get(way)
        await it.get("/freezers/none", 404)
        await it.get("/sensors/none/curve", 404)
        await it.get("/events/999", 404)
        await it.get("/stock/packages/7", 404)
        await it.get("/excursions/7", 404)
        await it.get("/sensors/shed-chest-air/curve?since=2026-06-31", 409)
        await it.get("/sensors/shed-chest-air/curve?since=1 h&until=2 h", 409)
        await it.get("/sensors/shed-chest-air/curve?since=0001-01-01", 409)
        await it.get("/sensors/shed-chest-air/curve?points=801", 422)

    assert (me["who"], me["may_order"]) == ("ann", True)
    assert freezers["freezers"] == [one]
    assert one["name"] == "Shed chest"


@rig
async def test_stock_orders(tmp_path: Path) -> None:
    """Packages are put in, found, taken out once for one key, and the last order is undone."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        await it.post("/stock/add", {"lines": ["12 bags of beans, 1 lb, shed chest"], "key": "one"})
        await it.post("/stock/add", {"lines": ["12 bags of beans, 1 lb, shed chest"], "key": "one"})
        taken = await it.post("/stock/take", {"what": "beans", "n": 2}, **{"Idempotency-Key": "two"})
        await it.post("/stock/take", {"what": "beans", "n": 2}, **{"Idempotency-Key": "two"})
        found = await it.get("/stock/find?words=beans")
        refused = await it.post("/stock/take", {"what": "beans", "n": 50}, 409)
        await it.post("/stock/undo")
        (box,) = (await it.get("/stock"))["boxes"]
        named = await it.post("/stock/box", {"what": "Crate", "name": "Top basket", "freezer": "shed-chest"})
        history = await it.get("/stock/history")
        first = await it.get("/use-first?freezer=shed-chest")

    assert taken["done"] is True
    assert "Top basket" in named["text"]
    assert [one["count"] for one in found["packages"]] == [10]
    assert "Nothing was changed" in refused["error"]
    assert [one["count"] for one in box["packages"]] == [12]
    assert history["moves"][-1]["turn"] == "added"
    assert first["packages"][0]["package"]["food"] == "beans"


@rig
async def test_use_first_is_bounded(tmp_path: Path) -> None:
    """Of a long list as many are told as were asked for, and how many there are; an order without end is refused."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        await it.post("/stock/add", {"lines": [f"beans {n}, 1 lb, shed chest" for n in range(205)]})
        plain = await it.get("/use-first")
        three = await it.get("/use-first?most=3")
        everything = await it.get("/use-first?most=5000")
        await it.get("/use-first?most=5001", 422)

    assert [(len(each["packages"]), each["in_all"]) for each in (plain, three, everything)] == [
        (200, 205), (3, 205), (205, 205),
    ]  # fmt: skip
    assert three["packages"] == everything["packages"][:3]


@rig
async def test_answers_are_made_beside_the_watch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is looked at is put together and written in a thread of its own: the watch goes on meanwhile."""
    threads: list[int] = []

    def noted(*given: Any) -> Any:
        threads.append(threading.get_ident())
        return pack(*given)

    monkeypatch.setattr(service, "pack", noted)
    async with open_house(tmp_path) as house:
        it = await program(house)
        threads.clear()
        for way in ("/stock", "/use-first", "/stock/find?words=beans", "/events"):
            await it.get(way)

    assert len(threads) == 4
    assert threading.get_ident() not in threads


@rig
async def test_upkeep_orders(tmp_path: Path) -> None:
    """Frost and chores are written down, and a freezer is kept quiet and watched again."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        await it.post("/freezers/shed-chest/frost", {"mm": 5, "note": "left wall"})
        await it.post("/chores", {"subject": "shed-chest", "kind": "gasket", "note": "tight"})
        quiet = await it.post("/freezers/shed-chest/at", {"span": 600_000})
        await it.post("/freezers/shed-chest/left")
        begun = await it.post("/freezers/shed-chest/defrost/start", {"anyway": True})
        not_on = await it.post("/freezers/shed-chest/defrost/finish", {"switched_on": False}, 409)
        await it.post("/freezers/shed-chest/defrost/cancel")
        frost, chores = await it.get("/frost"), await it.get("/chores")
        await it.post("/freezers/none/frost", {"mm": 5}, 404)
        await it.post("/alarms/77/acknowledge", {}, 404)

    assert frost["frost"][0]["note"] == "left wall"
    assert chores["chores"][0]["facts"] == {"note": "tight"}
    assert "quiet until" in quiet["text"]
    assert begun["done"] is True
    assert "switch it back on" in not_on["error"]


@rig
async def test_alarm_is_acknowledged(tmp_path: Path) -> None:
    """An alarm is listed, acknowledged by its number, and its event says whom it was told and why."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        await warm(house)
        alarms = (await it.get("/alarms"))["alarms"]
        number = alarms[0]["number"]
        await it.post(f"/alarms/{number}/acknowledge", {"why": "on my way"})
        events = (await it.get("/events?most=200"))["events"]
        event = await it.get(f"/events/{number}")

    assert any(each["what"] == "acknowledged" and each["why"] == "on my way" for each in events)
    assert event["decisions"]
    assert event["event"]["number"] == number


@rig
async def test_bad_input(tmp_path: Path) -> None:
    """What is sent wrong is refused with the right status, a sentence, and a pointer where there is one."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        field = await it.post("/stock/take", {"what": "beans", "n": -1}, 422)
        strange = await it.post("/stock/undo", {"keyy": ""}, 422)
        for body in ("{", '{"what": NaN}', '{"what": "a", "what": "b"}', "[" * 50_000, ""):
            page = await house.phone.post(
                f"{BASE}/stock/take", body, headers={"X-Form-Word": it.word, "Content-Type": "application/json"}
            )
            assert (page.status, page.headers["Content-Type"]) == (400, "application/problem+json; charset=utf-8")
        form = await house.phone.post(f"{BASE}/stock/take", {"what": "beans"}, headers={"X-Form-Word": it.word})
        large = await house.phone.post(
            f"{BASE}/stock/add",
            BytesIO(b" " * 10_000_000),
            headers={"X-Form-Word": it.word, "Content-Type": "application/json"},
        )
        no_word = await house.phone.post(f"{BASE}/stock/undo", "{}")
        not_utf8 = await house.phone.post(
            f"{BASE}/stock/undo", "{}", headers={"X-Form-Word": it.word, "Idempotency-Key": "ü",
                                                 "Content-Type": "application/json"},
        )  # fmt: skip
        for way in ("/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/export/..%2freadings.csv", "/nothing"):
            assert (await house.phone.get(BASE + way)).status == 404
        async with house.phone.session.head(house.begins + f"{BASE}/house") as head:
            head_said = head.status, await head.read()
        async with house.phone.session.options(house.begins + f"{BASE}/house") as options:
            options_status = options.status
        wrong_method = await house.phone._ask("DELETE", f"{BASE}/house", headers={"X-Form-Word": it.word})

    assert (field["pointer"], field["status"]) == ("/n", 422)
    assert "keyy" in strange["error"]
    assert (form.status, not_utf8.status) == (415, 422)
    assert large.status == 413
    assert "error" in json.loads(large.text)
    assert no_word.status == 403
    assert head_said == (200, b"")
    assert options_status in (403, 405)
    assert wrong_method.status == 405
    assert "GET" in wrong_method.headers["Allow"]


@rig
async def test_hostile_words_stay_words(tmp_path: Path) -> None:
    """Hostile text in every field of words comes back as the text it is, and breaks nothing."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        for text in HOSTILE:
            await it.post("/chores", {"subject": "shed-chest", "kind": "note", "note": text})
            await it.post("/freezers/shed-chest/frost", {"mm": 1, "note": text[:200]})
            for way, plain in (("/stock/take", {"what": text}), ("/stock/count", {"what": text}),
                               ("/stock/move", {"what": text, "to": text})):  # fmt: skip
                await it.post(way, plain, 409)
        chores, frost = await it.get("/chores"), await it.get("/frost")

    assert [each["facts"]["note"] for each in reversed(chores["chores"])] == HOSTILE
    assert [each["note"] for each in reversed(frost["frost"])] == [text[:200] for text in HOSTILE]


@rig
async def test_program_with_a_link_may_look(tmp_path: Path) -> None:
    """The word of a link reads and orders nothing, leaves no cookie, and ends with its link."""
    async with open_house(tmp_path) as house:
        word = house.lock.add_link("the wall", "ann", 0)
        bearer = {"Authorization": f"Bearer {word}"}
        house.phone.session.cookie_jar.clear()
        looked = await house.phone.get(f"{BASE}/house", headers=bearer)
        me = await house.phone.get(f"{BASE}/me", headers=bearer)
        ordered = await house.phone.post(f"{BASE}/stock/undo", "{}", headers=bearer)
        pages = await house.phone.get("/", headers=bearer, allow_redirects=False)
        forged = await house.phone.get(f"{BASE}/house", headers={"Authorization": "Bearer forged"})
        house.lock.drop_link(house.lock.links[0].id)
        after = await house.phone.get(f"{BASE}/house", headers=bearer)
        without = await house.phone.get(f"{BASE}/house")

    assert looked.status == 200
    assert "Set-Cookie" not in looked.headers
    assert (json.loads(me.text)["may_order"], json.loads(me.text)["form_word"]) == (False, None)
    assert [page.status for page in (ordered, pages, forged, after, without)] == [403, 303, 401, 401, 401]


@rig
async def test_unchanged_answers_are_not_sent_again(tmp_path: Path) -> None:
    """A program that has an answer already is told so; another answer has another tag."""
    async with open_house(tmp_path) as house:
        it = await program(house)
        first = await house.phone.get(f"{BASE}/chores")
        again = await house.phone.get(f"{BASE}/chores", headers={"If-None-Match": first.headers["Etag"]})
        await it.post("/chores", {"subject": "shed-chest", "kind": "note"})
        changed = await house.phone.get(f"{BASE}/chores", headers={"If-None-Match": first.headers["Etag"]})

    assert (again.status, again.text) == (304, "")
    assert changed.status == 200
