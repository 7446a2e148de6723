"""The pages as the settings want them, at a real gateway."""

import asyncio
import contextlib
import ssl
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.daemon.reception import Reception
from gatewayd.model.event import Notice, Stage
from gatewayd.model.given import Rewired
from gatewayd.model.house import Neighbour
from gatewayd.model.moment import MINUTE
from gatewayd.model.priority import Priority
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Pages, Settings, Storing
from tests.daemon.test_gateway import Bench, door
from tests.days.player import house
from tests.rigs import certs
from tests.rigs.broker import free_port
from tests.sources.intake import eventually
from tests.web.home import ask


def settings(folder: Path, port: int | None, **more: object) -> Settings:
    """Want pages at a port, or none; Elm Road is a neighbour."""
    pages = Pages("127.0.0.1", port, "http://gate.test:8470") if port else None
    home = replace(house(1), neighbours={"elm-road": Neighbour("elm-road", "Elm Road", 30 * MINUTE)})
    file = folder / "gatewayd.yaml"
    found = Settings(home, {}, Storing(folder / "house.db"), folder / "door", (file,), file, pages=pages)
    return replace(found, tokens={"elm-road": Secret("plums")}, **more)  # type: ignore[arg-type]


def notice(bench: Bench) -> Notice:
    """Tell Ann of alarm 17."""
    return Notice(17, "ann", Stage.NEW, Priority.HIGH, "t", "b", bench.clock.now(), ("mail",), "shed-chest", "high")


async def answers(port: int) -> bool:
    """Return whether the pages answer at a port."""
    try:
        status, _, _ = await ask("GET", f"http://127.0.0.1:{port}/")
    except OSError:
        return False
    return status == 200  # it asks for a password


async def eventually_answers(port: int, *, yes: bool) -> None:
    """Wait until they do, or do not."""
    for _ in range(250):
        await asyncio.sleep(0.02)  # first: asyncio forgets a connection that it takes in the moment of a close
        if await answers(port) is yes:
            return
    pytest.fail(f"the pages at {port} do not go on or off: {yes}")


@pytest.mark.rig
async def test_follows_the_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages come, move to another port and go with the settings; a change elsewhere does not touch them."""
    bench, first, second = Bench(), free_port(), free_port()
    reception = Reception(settings(tmp_path, None), bench.gateway, bench.clock, tmp_path, door(bench))
    task = asyncio.create_task(reception.run())
    assert reception.line(notice(bench)) == ""
    assert not (tmp_path / "link.key").exists()

    reception.fit(settings(tmp_path, first))
    await eventually_answers(first, yes=True)
    assert reception.line(notice(bench)).startswith("Seen it? Tap: http://gate.test:8470/seen/")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "new").touch()  # whatever happens in the folder it runs in
    reception.fit(settings(tmp_path, first, warnings=("a sentence",)))
    assert not reception._changed.is_set()
    reception.fit(settings(tmp_path, second))
    await eventually_answers(second, yes=True)
    await eventually_answers(first, yes=False)
    reception.fit(settings(tmp_path, None))
    await eventually_answers(second, yes=False)
    task.cancel()
    await asyncio.wait({task})


@pytest.mark.rig
async def test_new_name_of_the_house(tmp_path: Path) -> None:
    """Another name of the house interrupts nobody who looks at the pages, and stands on them at once."""
    bench, port = Bench(), free_port()
    reception = Reception(settings(tmp_path, port), bench.gateway, bench.clock, tmp_path, door(bench))
    task = asyncio.create_task(reception.run())
    await eventually_answers(port, yes=True)
    new = replace(settings(tmp_path, port), house=replace(bench.gateway.watch.house, name="Heron Lane 4"))
    bench.gateway.give(Rewired(new.house))
    reception.fit(new)

    assert not reception._changed.is_set()
    assert "Heron Lane 4" in (await ask("GET", f"http://127.0.0.1:{port}/seen/none"))[2]
    task.cancel()
    await asyncio.wait({task})


def test_code_says_whether_a_password_is_set(tmp_path: Path) -> None:
    """A new code says that the pages wait for a password only while they do."""
    bench = Bench()
    reception = Reception(settings(tmp_path, free_port()), bench.gateway, bench.clock, tmp_path, door(bench))
    before = reception.new_code()
    assert reception._lock is not None
    reception._lock.set("plums and beans")
    after = reception.new_code()

    assert before.startswith("The pages wait for a password: open http://gate.test:8470/set-up")
    assert after.startswith("The password can be set anew, and the present one counts until then: open http://")


@pytest.mark.rig
async def test_new_word_of_a_neighbour(tmp_path: Path) -> None:
    """A neighbour's beat reaches the watch, and a new word in the settings counts at once, at the same address."""
    bench, port = Bench(), free_port()
    reception = Reception(settings(tmp_path, port), bench.gateway, bench.clock, tmp_path, door(bench))
    given: list[object] = []
    bench.gateway.give = given.append  # type: ignore[method-assign, assignment]
    task = asyncio.create_task(reception.run())
    await eventually_answers(port, yes=True)
    at = f"http://127.0.0.1:{port}/beat/elm-road"
    assert (await ask("GET", at, params={"token": "plums"}))[0] == 200
    reception.fit(replace(settings(tmp_path, port), tokens={"elm-road": Secret("beans")}))
    await asyncio.sleep(0)
    await eventually_answers(port, yes=True)
    await eventually(lambda: not reception._changed.is_set(), "served anew")
    assert (await ask("GET", at, params={"token": "beans"}))[0] == 200
    assert len(given) == 2
    task.cancel()
    await asyncio.wait({task})


@pytest.mark.rig
async def test_pages_that_fall(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault in the pages is said with its reason, ends nothing else, and other settings bring them back."""
    bench, port = Bench(), free_port()
    reception = Reception(settings(tmp_path, port), bench.gateway, bench.clock, tmp_path, door(bench))
    with monkeypatch.context() as broken:
        broken.setitem(sys.modules, "gatewayd.web.server", None)  # as where the library is not installed
        task = asyncio.create_task(reception.run())
        await eventually(lambda: "the pages fell" in caplog.text, "said")
    assert not task.done()
    assert "gatewayd.web.server" in caplog.text
    port = free_port()
    reception.fit(settings(tmp_path, port))
    await eventually_answers(port, yes=True)
    task.cancel()
    await asyncio.wait({task})


def test_house_without_pages_does_not_load_them() -> None:
    """The library under the pages is loaded only where there are pages."""
    code = "import sys, gatewayd.daemon.reception, gatewayd.daemon.lifesign; print('aiohttp' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)

    assert found.stdout == "False\n"


@pytest.mark.rig
async def test_renewed_certificate(tmp_path: Path) -> None:
    """A certificate that was renewed in its file is taken when the settings are read again; one that was not, stays."""
    bench, port = Bench(), free_port()
    first, second = certs.make(tmp_path), tmp_path / "again"
    second.mkdir()
    pages = Pages("127.0.0.1", port, certificate=str(first.good))
    wanted = replace(settings(tmp_path, port), pages=pages)
    reception = Reception(wanted, bench.gateway, bench.clock, tmp_path, door(bench))
    task = asyncio.create_task(reception.run())

    async def shown() -> bytes:
        for _ in range(250):
            with contextlib.suppress(OSError):
                pem = await asyncio.to_thread(ssl.get_server_certificate, ("127.0.0.1", port), timeout=2)
                return ssl.PEM_cert_to_DER_cert(pem)
            await asyncio.sleep(0.02)
        pytest.fail("the pages do not answer")

    before = await shown()
    reception.fit(wanted)
    assert not reception._changed.is_set()
    first.good.write_bytes(certs.make(second).good.read_bytes())
    reception.fit(wanted)
    await asyncio.sleep(0.1)
    after = await shown()
    task.cancel()
    await asyncio.wait({task})

    assert before != after
