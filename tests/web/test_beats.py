"""Signs of life of another household's gateway, over a real connection."""

import asyncio

import pytest

from gatewayd.model.given import Beat
from gatewayd.model.route import Secret
from gatewayd.web import beats as module
from gatewayd.web.beats import Beats, same
from tests.fakes.clock import FakeClock
from tests.sources.intake import eventually
from tests.web.home import FakeHome, ask, serving

pytestmark = pytest.mark.rig

WORD = "plums & beans ü 1234"
TOKENS = {"elm-road": Secret(WORD)}
GOOD = {"Authorization": b"Bearer " + WORD.encode()}


async def test_heard_by_every_way() -> None:
    """GET and POST, the word in a header or in the address, with or without a body: each is one sign of life."""
    home = FakeHome()
    async with serving([Beats(TOKENS, home, FakeClock())]) as (url, _):
        at = f"{url}/beat/elm-road"
        plain = {"token": WORD}
        answers = [
            await ask("GET", at, headers={"Authorization": f"Bearer {WORD}"}),
            await ask("POST", at, headers={"Authorization": f"bearer {WORD}"}, data=b"alive"),
            await ask("GET", at, params=plain),
            await ask("POST", at, params=plain),
        ]

    assert [(status, text) for status, _, text in answers] == [(200, "Heard.\n")] * 4
    assert home.beats == [Beat("elm-road")] * 4


async def test_unknown_and_wrong() -> None:
    """An id nobody knows is not found, looking by HEAD is no sign of life, and neither counts as one."""
    home = FakeHome()
    async with serving([Beats({**TOKENS, "oak": Secret("")}, home, FakeClock())]) as (url, _):
        words = {"token": WORD}
        found = [
            (await ask("GET", f"{url}/beat/elm", params=words))[0],
            (await ask("POST", f"{url}/beat/", params=words))[0],
            (await ask("HEAD", f"{url}/beat/elm-road", params=words))[0],
            (await ask("POST", f"{url}/beat/elm-road", params=words, data=b"x" * 9000))[0],
        ]

    assert found == [404, 404, 405, 413]
    assert home.beats == []


async def test_wrong_words_are_slowed() -> None:
    """Wrong words are refused one a second; a right one among them is heard at once; a crowd is sent away."""
    home, clock = FakeHome(), FakeClock()
    async with serving([Beats(TOKENS, home, clock)]) as (url, _):
        at = f"{url}/beat/elm-road"
        wrong = [asyncio.create_task(ask("GET", at, params={"token": f"wrong {n}"})) for n in range(12)]
        await eventually(lambda: sum(task.done() for task in wrong) == 2, "two too many are sent away")
        assert {task.result()[0] for task in wrong if task.done()} == {429}
        assert (await ask("GET", at, params={"token": WORD}))[0] == 200
        for left in range(9, -1, -1):
            await eventually(lambda: clock._sleepers, "the next one's turn")
            await clock.advance(1000)
            await eventually(lambda n=left: sum(not task.done() for task in wrong) == n, f"{left} left")
        assert sorted(task.result()[0] for task in wrong) == [403] * 10 + [429] * 2
    assert len(home.beats) == 1


async def test_wrong_in_every_form() -> None:
    """No word, an empty one, another scheme, a longer or shorter one, one that is no text: none is the right one."""
    home, clock = FakeHome(), FakeClock()
    tries: list[dict[str, object]] = [
        {},
        {"params": {"token": ""}},
        {"params": {"token": WORD[:-1]}},
        {"params": {"token": WORD + "x"}},
        {"params": {"token": "x" * 2000}},
        {"headers": {"Authorization": f"Basic {WORD}"}},
        {"headers": {"Authorization": "Bearer"}},
        {"headers": {"Authorization": "Bearer nonsense"}, "params": {"token": WORD}},
    ]
    async with serving([Beats(TOKENS, home, clock)]) as (url, _):
        for more in tries:
            task = asyncio.create_task(ask("GET", f"{url}/beat/elm-road", **more))
            await eventually(lambda: clock._sleepers, "refused")
            await clock.advance(module.SLOW)
            assert (await task)[0] == 403
    assert home.beats == []


async def test_new_words() -> None:
    """After the settings were read again the new word counts and the old one does not."""
    home, clock = FakeHome(), FakeClock()
    beats = Beats({"elm-road": Secret("new word")}, home, clock)  # the reception makes them anew
    async with serving([beats]) as (url, _):
        assert (await ask("GET", f"{url}/beat/elm-road", params={"token": "new word"}))[0] == 200
        task = asyncio.create_task(ask("GET", f"{url}/beat/elm-road", params={"token": WORD}))
        await eventually(lambda: clock._sleepers, "refused")
        await clock.advance(module.SLOW)
        assert (await task)[0] == 403


@pytest.mark.parametrize(
    ("given", "wanted", "right"),
    [("", "", False), ("a", "", False), ("ü", "ü", True), ("u", "ü", False), ("a" * 1025,) * 2 + (False,)],
)
def test_same(given: str, wanted: str, right: bool) -> None:
    """An empty or endless word is never right, and letters beyond ASCII are compared like any."""
    assert same(given, wanted) is right
