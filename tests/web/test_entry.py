"""The way in: the code, the password, sign-ins, links to look, and who is kept out."""

import asyncio
import io
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.alarm.kinds import HIGH
from gatewayd.clock import SystemClock
from gatewayd.message.token import make
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.web import session
from gatewayd.web.code import LASTS, TRIES, Code
from gatewayd.web.entry import at_home
from gatewayd.web.lock import FILE, LINKS, Lock
from tests.fakes.clock import FakeClock
from tests.web.home import ask, raw
from tests.web.open_house import KEY, open_house
from tests.web.phone import Phone

WORDS = "plums and beans"
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@pytest.mark.rig
async def test_first_phone_sets_the_password(tmp_path: Path) -> None:
    """The first phone is led to the set-up, sets the password with the code, and is in."""
    async with open_house(tmp_path, signed_in=False) as house:
        page = await house.phone.get("/log?n=1")
        assert page.path.startswith("/set-up")
        refused = await house.phone.set_up("0000 0000")
        code = house.code.make()
        page = await house.phone.set_up(code)
        again = await house.phone.get("/set-up")

    assert refused.status == 422
    assert "not the code" in refused.words
    assert (page.status, page.path) == (200, "/")
    assert not again.path.startswith("/set-up")  # the code is used up


@pytest.mark.rig
@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"password": "short", "again": "short"}, "8 characters or more"),
        ({"password": WORDS, "again": WORDS + "!"}, "not the same"),
        ({"password": "x" * 201, "again": "x" * 201}, "200 at most"),
        ({"who": "<script>"}, "is not allowed"),
        ({"code": ""}, "not the code"),
    ],
)
async def test_wrong_set_up(fields: dict[str, str], words: str, tmp_path: Path) -> None:
    """Each mistake is said, sets nothing, and uses the code up only where the code itself was wrong."""
    async with open_house(tmp_path, signed_in=False) as house:
        code = house.code.make()
        await house.phone.get("/set-up")
        filled = {"code": code, "who": "ann", "password": WORDS, "again": WORDS, **fields}
        page = await house.phone.press("/set-up", **filled)
        done = await house.phone.set_up(code)

    assert page.status == 422
    assert words in page.words
    assert "<script>" not in page.text
    assert done.path == "/"


@pytest.mark.rig
async def test_fifty_wrong_passwords(tmp_path: Path) -> None:
    """Who guesses has to wait longer and longer; fifty tries at once hear no more than the first few."""
    async with open_house(tmp_path) as house, Phone(house.begins) as stranger:
        statuses = [(await stranger.sign_in(password=f"guess {n}")).status for n in range(50)]
        right = await stranger.sign_in()
        inside = await house.phone.get("/")

    assert statuses[:3] == [403, 403, 403]
    assert statuses.count(429) >= 45  # the fourth may be tried after a second
    assert right.status == 429
    assert "Try again in" in right.words
    assert inside.status == 200  # who is in stays in


@pytest.mark.rig
async def test_many_wrong_passwords_at_once(tmp_path: Path) -> None:
    """Who sends many tries at the same moment has no more of them tried than who sends them one by one."""
    async with open_house(tmp_path) as house:
        data = {"who": "ann", "password": "guess", "to": "/"}
        tries = [ask("POST", house.begins + "/sign-in", data=data) for _ in range(14)]
        statuses = [status for status, _, _ in await asyncio.gather(*tries)]

    assert statuses.count(403) == 3
    assert statuses.count(429) == 11


@pytest.mark.rig
async def test_form_stays_filled_in(tmp_path: Path) -> None:
    """After a mistake it still stands who it is, where to and the code, and never a password."""
    async with open_house(tmp_path) as house, Phone(house.begins) as other:
        await other.get("/sign-in", params={"to": "/links"})
        page = await other.press("/sign-in", who="ben", password="trout and wrong")
        signing = dict(page.sheet("/sign-in").fields)
        code = house.code.make()
        await other.get("/set-up")
        page = await other.press("/set-up", code=code, who="ben", password=WORDS, again="venison and wrong")
        setting = dict(page.sheet("/set-up").fields)

    assert (signing["who"], signing["to"], signing["password"]) == ("ben", "/links", "")
    assert (setting["who"], setting["code"], setting["password"]) == ("ben", code, "")
    assert "wrong" not in page.text.replace('id="wrong"', "")


@pytest.mark.rig
@pytest.mark.parametrize(
    ("headers", "body"),
    [
        ({"Cookie": "gatewayd=ab.\xff"}, b"who=ann"),
        ({"Content-Type": "multipart/form-data"}, b"--x"),
        ({"Content-Type": "multipart/form-data; boundary=x"}, b"--x\r\n\r\na\r\n--x--"),
        ({"Content-Type": "multipart/form-data; boundary=x"}, b'--x\r\nContent-Disposition: form-data; name="a"\r\n'),
        ({"Content-Type": f"{FORM['Content-Type']}; charset=nope"}, b"who=ann"),
        (FORM, b"who=\xff&password=\xff"),
        ({"Content-Type": f"{FORM['Content-Type']}; charset=utf-7"}, b"who=ann&password=+2AA-&to=/"),
        ({**FORM, "Content-Encoding": "deflate"}, b"rubbish"),
        ({**FORM, "Content-Encoding": "gzip"}, b"rubbish"),
    ],
)
async def test_rubbish_from_strangers(
    headers: dict[str, str], body: bytes, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """What is no form is refused as such, and writes no fault of ours into the log."""
    async with open_house(tmp_path) as house:
        head = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
        begin = f"POST /sign-in HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: {len(body)}\r\n{head}\r\n"
        answer = await raw(house.begins, begin.encode("latin-1") + body)

    assert int(answer.split(b" ")[1]) in (400, 403, 422, 429)
    assert "Traceback" not in caplog.text
    assert "could not be shown" not in caplog.text


@pytest.mark.rig
async def test_signed_out_for_good(tmp_path: Path) -> None:
    """A copy of the cookie of somebody who has signed out opens nothing, also after a restart of the pages."""
    async with open_house(tmp_path) as house:
        cookie = next(iter(house.phone.session.cookie_jar)).value
        await house.phone.get("/links")
        await house.phone.press("/sign-out")
        async with Phone(house.begins) as thief:
            now = await thief.get("/links", headers={"Cookie": f"{session.COOKIE}={cookie}"})
        kept = session.read(cookie, house.lock.key, SystemClock().now().wall)
        assert kept is not None
        later = Lock(tmp_path).ended(kept.id)

    assert now.path.startswith("/sign-in")
    assert later


@pytest.mark.rig
async def test_sign_in_leads_on_and_never_out(tmp_path: Path) -> None:
    """After a sign-in the page that was wanted opens; an address elsewhere in the link is not followed."""
    async with open_house(tmp_path) as house:
        for to, lands in (("/links", "/links"), ("//evil.example/", "/"), ("https://evil.example", "/"), ("/\\e", "/")):
            async with Phone(house.begins) as other:
                await other.get("/sign-in", params={"to": to})
                page = await other.press("/sign-in", who="ben", password=WORDS)
            assert (page.status, page.path) == (200, lands)
            assert "Ben" in page.words


@pytest.mark.rig
@pytest.mark.parametrize("kind", ["other key", "one letter", "no sign", "nothing", "long", "old"])
async def test_forged_cookie(kind: str, tmp_path: Path) -> None:
    """A cookie that this gateway did not write, or wrote long ago, opens nothing."""
    async with open_house(tmp_path) as house, Phone(house.begins) as other:
        now = SystemClock().now().wall
        good = session.write(session.begin("ann", now), house.lock.key)
        old = session.write(session.begin("ann", now - 91 * DAY), house.lock.key)
        forged = {
            "other key": session.write(session.begin("ann", now), os.urandom(32)),
            "one letter": ("A" if good[0] != "A" else "B") + good[1:],
            "no sign": good.partition(".")[0],
            "nothing": "",
            "long": "x" * 3000,
            "old": old,
        }[kind]
        page = await other.get("/", headers={"Cookie": f"{session.COOKIE}={forged}"})
        kept = await other.get("/", headers={"Cookie": f"{session.COOKIE}={good}"})

    assert page.path.startswith("/sign-in")
    assert kept.path == "/"


@pytest.mark.rig
async def test_form_without_its_word(tmp_path: Path) -> None:
    """A form that does not carry the word of its own sign-in changes nothing, nor does one from another site."""
    async with open_house(tmp_path) as house, Phone(house.begins) as ben:
        await ben.sign_in("ben")
        foreign = dict((await ben.get("/links")).sheet("/links").fields)["csrf"]
        own = dict((await house.phone.get("/links")).sheet("/links").fields)["csrf"]
        statuses = [
            (await house.phone.post("/links", data, headers=headers)).status
            for data, headers in (
                ({"name": "a"}, {}),
                ({"name": "a", "csrf": foreign}, {}),
                ({"name": "a", "csrf": own}, {"Sec-Fetch-Site": "cross-site"}),
            )
        ]
        refused = house.lock.links
        taken = await house.phone.post("/links", {"name": "a", "csrf": own})

    assert statuses == [403, 403, 403]
    assert refused == ()
    assert taken.status == 200


@pytest.mark.rig
async def test_password_anew_ends_sign_ins(tmp_path: Path) -> None:
    """With a new code another password can be set, and all sign-ins before it have ended."""
    async with open_house(tmp_path) as house, Phone(house.begins) as other:
        await other.set_up(house.code.make(), "ben", "trout and venison")
        page = await house.phone.get("/")
        wrong = await house.phone.sign_in()
        right = await house.phone.sign_in(password="trout and venison")

    assert page.path.startswith("/sign-in")
    assert (wrong.status, right.status) == (403, 200)


@pytest.mark.rig
async def test_link_to_look(tmp_path: Path) -> None:
    """Who comes by a link sees pages without forms, can order nothing, and is out when it is taken back."""
    async with open_house(tmp_path) as house, Phone(house.begins) as tablet:
        await house.phone.get("/links")
        page = await house.phone.press("/links", name="tablet <b>in</b> the kitchen")
        address = page.text.partition("<code>http://gate.test:8470")[2].partition("</code>")[0]
        seen = await tablet.get(address)
        forms = [sheet.action for sheet in (await tablet.get("/links")).sheets]
        cookie = next(iter(tablet.session.cookie_jar)).value
        kept = session.read(cookie, house.lock.key, SystemClock().now().wall)
        assert kept is not None
        word = session.form_word(kept, house.lock.key)
        refused = await tablet.post("/links", {"name": "b", "csrf": word})
        await house.phone.get("/links")
        await house.phone.press(f"/links/{house.lock.links[0].id}/end")
        out = await tablet.get("/")
        again = await tablet.get(address)
        await house.phone.get("/links")
        aunt = await house.phone.press("/links", name="aunt")
        other = aunt.text.partition("<code>http://gate.test:8470")[2].partition("</code>")[0]
        await house.phone.get(other)  # somebody who has signed in opens it
        still = await house.phone.get("/links")
        await tablet.get(other)
        await tablet.get("/")
        left = await tablet.press("/sign-out")

    assert (seen.status, seen.path) == (200, "/")
    assert "tablet &lt;b&gt;in&lt;/b&gt;" in page.text
    assert forms == ["/sign-out"]
    assert refused.status == 403
    assert "sign in with the password" in refused.words
    assert out.path.startswith("/sign-in")
    assert again.status == 404
    assert "counts no longer" in again.words
    assert "/links" in [sheet.action for sheet in still.sheets]
    assert left.path.startswith("/sign-in")


@pytest.mark.rig
@pytest.mark.parametrize(
    "path",
    [
        "/static/../../lock.py", "/static/x/..%2f..%2fpages.lock", "/static/x/%2e%2e/server.py",
        "/..%2f..%2fetc/passwd", "/look/" + "x" * 4000, "/look/%00", "/nothing", "/static//", "//evil.example",
    ],
)  # fmt: skip
async def test_addresses_that_lead_nowhere(path: str, tmp_path: Path) -> None:
    """No address leads out of the folder of the pages' files, and what is not there is said in a plain page."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get(path)

    assert page.status in (200, 404)
    assert page.status == 404 or page.path == "/"
    assert "Traceback" not in page.text


@pytest.mark.rig
async def test_too_much_is_sent(tmp_path: Path) -> None:
    """A form of 10 MB is refused in words, before and after the sign-in, and the next one is heard."""
    async with open_house(tmp_path) as house, Phone(house.begins) as stranger:
        before = await stranger.post("/sign-in", {"password": "x" * 10_000})
        word = dict((await house.phone.get("/links")).sheet("/links").fields)["csrf"]
        after = await house.phone.post(
            "/links", io.BytesIO(f"csrf={word}&name=".encode() + b"x" * 10_000_000), headers=FORM
        )
        still = await house.phone.get("/links")

    assert (before.status, after.status, still.status) == (413, 413, 200)
    assert "too long" in after.words


@pytest.mark.rig
async def test_two_press_at_once(tmp_path: Path) -> None:
    """Two who acknowledge at once both hear that it was done, the second by whom; a mail scanner does nothing."""
    async with open_house(tmp_path) as house:
        alarms, now = house.gateway.watch.alarms, house.clock.now()
        alarms.raise_(alarms.get("shed-chest", HIGH), now, now, {"value": -9.0})
        number = alarms.get("shed-chest", HIGH).first
        links = {who: f"/seen/{make(KEY, number, who, now.wall + HOUR)}" for who in ("ann", "ben")}
        for _ in range(3):  # what opens links to look at them
            assert (await ask("GET", house.begins + links["ann"]))[0] == 200
            assert (await ask("HEAD", house.begins + links["ann"]))[0] == 200
        untouched = alarms.get("shed-chest", HIGH).acknowledged_at
        both = await asyncio.gather(*(ask("POST", house.begins + link) for link in links.values()))

    assert untouched is None
    assert [status for status, _, _ in both] == [200, 200]
    assert any("already" in text for _, _, text in both)


@pytest.mark.rig
async def test_headers(tmp_path: Path) -> None:
    """Every answer forbids what is not its own: scripts in a page, frames, other hosts; scripts see no cookie."""
    async with open_house(tmp_path, signed_in=False) as house:
        await asyncio.to_thread(house.lock.set, WORDS)
        _, headers, _ = await ask("GET", house.begins + "/sign-in")
        data = {"who": "ann", "password": WORDS, "to": "/"}
        _, signed, _ = await ask("POST", house.begins + "/sign-in", data=data, allow_redirects=False)

    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http:" not in policy
    assert headers["Cache-Control"] == "no-store"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "HttpOnly" in signed["Set-Cookie"]
    assert "SameSite=Lax" in signed["Set-Cookie"]


async def test_code_ends() -> None:
    """The code counts for 30 minutes and ten wrong tries, however it is spaced."""
    clock = FakeClock()
    code = Code(clock)
    shown = code.make()
    assert code.fits(shown.replace(" ", "-"))
    await clock.advance(LASTS)
    assert not code.fits(shown)
    shown = code.make()
    for _ in range(TRIES):
        assert not code.fits("")
    assert not code.counts
    assert not code.fits(shown)


def test_lock_is_kept(tmp_path: Path) -> None:
    """The password and the links outlast a restart; the file is private and holds neither in plain."""
    lock = Lock(tmp_path)
    lock.set(WORDS)
    word = lock.add_link("tablet", "ann", 0)
    anew = Lock(tmp_path)
    link = anew.link(word)

    assert anew.opens(WORDS)
    assert not anew.opens(WORDS + "x")
    assert not anew.opens("")
    assert link is not None
    assert link.name == "tablet"
    assert anew.link("") is None
    assert (tmp_path / FILE).stat().st_mode & 0o777 == 0o600
    text = (tmp_path / FILE).read_text()
    assert WORDS not in text
    assert word not in text


def test_too_many_links(tmp_path: Path) -> None:
    """There is an end to links, said in words."""
    lock = Lock(tmp_path)
    for n in range(LINKS):
        lock.add_link(str(n), "ann", 0)
    with pytest.raises(ValueError, match="take one back first"):
        lock.add_link("one more", "ann", 0)


@pytest.mark.parametrize("content", ["", "{", '"x"', "{}", '{"key": "00"}', "[" * 100_000, '{"key": 7}'])
def test_damaged_lock(content: str, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A damaged lock is kept beside, opens for nobody, and is made anew."""
    (tmp_path / FILE).write_text(content)
    lock = Lock(tmp_path)

    assert not lock.is_set
    assert not lock.opens("")
    assert (tmp_path / f"{FILE}.damaged").read_text() == content
    assert "asks for a new password" in caplog.text or "ask for a new password" in caplog.text


def test_hash_is_that_of_the_standard(tmp_path: Path) -> None:
    """What is kept is scrypt (RFC 7914) of the password, as another implementation of it makes it."""
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt  # noqa: PLC0415 - the other implementation

    lock = Lock(tmp_path)
    lock.set(WORDS)
    kept = json.loads((tmp_path / FILE).read_text())
    other = Scrypt(salt=bytes.fromhex(kept["salt"]), length=32, n=1 << 14, r=8, p=5).derive(WORDS.encode())

    assert kept["hash"] == other.hex()


@pytest.mark.parametrize(
    ("address", "home"),
    [
        ("192.168.1.7", True), ("10.0.0.1", True), ("127.0.0.1", True), ("fe80::1%wlan0", True), ("fd00::7", True),
        ("::ffff:192.168.1.7", True), ("8.8.8.8", False), ("2a00:1450::1", False), ("::ffff:8.8.8.8", False),
        ("", False), (None, False), ("garage", False),
    ],
)  # fmt: skip
def test_who_is_at_home(address: str | None, home: bool) -> None:
    """Addresses of a home network are at home, those of the wide world are not (RFC 6890)."""
    assert at_home(address) is home


def test_session_that_comes_from_tomorrow() -> None:
    """A clock that was set back ends no sign-in, and one that ran ahead does so only after its span."""
    key, now = bytes(32), 1_800_000_000_000
    kept = session.begin("ann", now)
    cookie = session.write(kept, key)

    assert session.read(cookie, key, now - DAY) == kept
    assert session.read(cookie, key, now + session.LASTS - SECOND) == kept
    assert session.read(cookie, key, now + session.LASTS) is None
    assert session.form_word(kept, key) != session.form_word(replace(kept, id="x"), key)
    assert MINUTE < session.FRESH


def test_our_own_network_is_home() -> None:
    """A phone with an address of the wide world is at home in our own network of 64 bits, and only there."""
    ours = "2003:e5:1234:5600::1"

    assert at_home("2003:e5:1234:5600:abcd::12", ours)
    assert at_home("100.101.102.103")
    assert not at_home("2003:e5:1234:5601::12", ours)
    assert not at_home("2003:e5:1234:5600::12", "")
    assert not at_home("8.8.8.8", "8.8.8.7")


def test_lock_on_a_card_that_takes_no_writes(tmp_path: Path) -> None:
    """A damaged lock that cannot even be set aside keeps nobody from watching: it opens for nobody."""
    (tmp_path / FILE).write_text("{")
    (tmp_path / f"{FILE}.damaged").mkdir()
    lock = Lock(tmp_path)

    assert not lock.is_set


@pytest.mark.rig
async def test_words_wait_for_the_person(tmp_path: Path) -> None:
    """What came of a tap is told to the person on the next page, not to a page that renews itself meanwhile."""
    async with open_house(tmp_path) as house:
        word = dict((await house.phone.get("/links")).sheet("/links").fields)["csrf"]
        await house.phone.post("/links/none/end", {"csrf": word}, allow_redirects=False)
        by_itself = await house.phone.get("/", headers={"X-Fresh": "1"})
        opened = await house.phone.get("/links")
        later = await house.phone.get("/links")

    assert "no such link" not in by_itself.words
    assert "no such link" in opened.words
    assert "no such link" not in later.words
