"""Have the settings read again and again under load, half of them wrong, while a freezer swings across its limit."""

import random
import re
import signal
import threading
import time

from tests.torture.house import (
    COLD,
    WARM,
    Feed,
    Household,
    check_readings,
    check_told,
    household,
    last_alarm,
    settle,
)
from tests.torture.result import Result

ROUNDS = 100
BURST = 20  # signals at the end without a wait between them
TAKEN, REFUSED = "the settings were read again", "heron-lane settings noted"

# Each pair turns right settings into wrong ones in one place; the third text must stand in what the keeper is told.
WRONG = (
    ("place: shed\n", "plaec: shed\n", "plaec"),
    ("time_zone: Europe/London", "time_zone: Moon/Crater", "Moon/Crater"),
    ("high_on_delay: 0.4 s", "high_on_delay: soon", "soon"),
    ("window: 20", "window: many", "many"),
    ("keep_every: 0", "keep_every: often", "often"),
    ("told_by: [ann-mail", "told_by: [ann-pigeon, ann-mail", "ann-pigeon"),
    ("sensors: [shed-air]", "sensors: [shed-air]\n    volume: much", "much"),
    ("security: starttls", "security: perhaps", "perhaps"),
)
SECOND = (
    "mail: {host: localhost, port: 9, security: starttls, from: watch@heron.test, to: ann@heron.test}",
    "url: jsons://localhost:9/ann",
)
SYNTAX = ("  cellar-upright: {", "  cellar-upright: {{[", "stands where a key belongs")


class Swing:
    """Warm and cool the freezer, each time until the alarm of it has come and gone, and count."""

    def __init__(self, house: Household, feed: Feed) -> None:
        """Take what to turn."""
        self.swings = 0
        self.fault: Exception | None = None
        self._house, self._feed = house, feed
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="swing")

    def _run(self) -> None:
        try:
            while not self._end.is_set():
                self._feed.celsius = WARM
                self._house.until(lambda: last_alarm(self._house) == "raised", "the alarm is raised", 20)
                self.swings += 1
                self._feed.celsius = COLD
                self._house.until(lambda: last_alarm(self._house) == "over", "the alarm is over", 20)
        except Exception as fault:  # noqa: BLE001 - told by the torture at its end
            self.fault = fault

    def __enter__(self) -> "Swing":
        """Start."""
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        """Stop after the swing that runs."""
        self._end.set()
        self._thread.join()


def run(seed: int, rounds: int) -> Result:
    """Reload so many times, then in a burst, and judge."""
    result, rng = Result("reload", seed, rounds), random.Random(seed)
    faults = 0
    with household() as (broker, post, house), house, Feed(broker, random.Random(seed + 1)) as feed:
        feed.swing = False
        good = house.settings.read_text()
        with Swing(house, feed) as swing:
            for number in range(1, rounds + 1):
                time.sleep(rng.uniform(0.0, 0.8))
                if number % 2:
                    text, wanted = _right(good, rng), []
                else:
                    text, wanted = _wrong(_right(good, rng), rng)
                said = _reload(house, text, REFUSED if wanted else TAKEN)
                faults += len(wanted)
                _check_refusal(result, said, wanted)
                result.round(number, f"{_told(said, wanted)}, {feed.total} published, {swing.swings} alarms")
            _burst(house, good, rng)
        result.hold(swing.fault is None, f"an alarm did not come or go: {swing.fault}")
        settle(house, feed)
        check_readings(result, house, feed)
        check_told(result, house, post, {})
        _check_alarms(result, house, swing.swings)
        links = broker.log().count("as gatewayd-heron-lane")
        name = house.status()["freezers"][0]["name"]
    result.hold(links == 1, f"the broker saw gatewayd connect {links} times")
    result.hold(name == "Last chest", f"after the burst the old settings are in force: {name}")
    result.figures |= {"refused": rounds // 2, "faults named": faults, "connections to the broker": links}
    return result


def _right(good: str, rng: random.Random) -> str:
    """Return other right settings that leave the broker and the swinging freezer's delays alone."""
    text = good.replace("name: Shed chest", f"name: Shed chest {rng.randrange(100)}")
    if rng.random() < 0.5:
        text = text.replace("{name: Cellar upright,", f"{{name: Cellar upright, volume: {rng.randrange(90, 300)} L,")
    if rng.random() < 0.5:
        text = text.replace("commit_every: 1 s", f"commit_every: {rng.randrange(1, 5)} s")
    if rng.random() < 0.3:
        text = text.replace("from: watch@", f"from: watch{rng.randrange(9)}@")
    if rng.random() < 0.5:  # a second way to reach her, which is not needed; an address is looked at by a child process
        way = rng.choice(SECOND)
        text = text.replace("told_by: [ann-mail]", "told_by: [ann-mail, ann-second]")
        text = text.replace("store: {", f"  ann-second:\n    {way}\nstore: {{")
    return text


def _wrong(text: str, rng: random.Random) -> tuple[str, list[str]]:
    """Return the settings with some mistakes, and the word of each."""
    chosen = [SYNTAX] if rng.random() < 0.1 else rng.sample(WRONG, rng.randrange(1, len(WRONG) + 1))
    for right, wrong, _ in chosen:
        if right not in text:
            raise ValueError(f"the settings of this torture have no {right!r}")
        text = text.replace(right, wrong, 1)
    return text, [word for _, _, word in chosen]


def _reload(house: Household, text: str, outcome: str) -> str:
    """Write settings, send SIGHUP, and return what the daemon says of it."""
    before = len(house.log())
    house.settings.write_text(text)
    house.signal(signal.SIGHUP)
    house.until(lambda: outcome in house.log()[before:], outcome)
    return house.log()[before:]


def _check_refusal(result: Result, said: str, wanted: list[str]) -> None:
    missing = [word for word in wanted if word not in said]
    result.hold(not missing, f"wrong settings were refused without a word of {missing}: {said[-900:]}")
    named = said.count(" ERROR ")
    result.hold(named == len(wanted), f"{len(wanted)} mistakes, {named} named: {said[-900:]}")
    result.hold(not (wanted and TAKEN in said), f"wrong settings were taken, with {wanted}")


def _told(said: str, wanted: list[str]) -> str:
    return f"refused for {', '.join(wanted)}" if wanted else "taken"


def _burst(house: Household, good: str, rng: random.Random) -> None:
    """Send many signals at once; the last settings are the ones that must be in force in the end."""
    for _ in range(BURST):
        house.settings.write_text(_wrong(good, rng)[0] if rng.random() < 0.5 else _right(good, rng))
        house.signal(signal.SIGHUP)
    house.settings.write_text(good.replace("name: Shed chest", "name: Last chest"))
    house.signal(signal.SIGHUP)
    house.until(lambda: house.status()["freezers"][0]["name"] == "Last chest", "the last settings are in force")


def _check_alarms(result: Result, house: Household, swings: int) -> None:
    """Hold that each swing was one alarm, raised once and over once, and that each refusal is among the events."""
    for what in ("raised", "over"):
        found = house.look("SELECT count(*) FROM event WHERE kind = 'high' AND what = ?", what)[0][0]
        result.hold(found == swings, f"{swings} swings, but {found} alarms {what}")
    others = house.look("SELECT DISTINCT kind FROM event WHERE kind NOT IN ('high', 'start', 'settings')")
    result.hold(not others, f"there were other events too: {others}")
    said = house.look("SELECT json_extract(facts, '$.text') FROM event WHERE kind = 'settings'")
    refusals = [row[0] for row in said if re.search(r"not taken.*: \d+ mistake", str(row[0]))]
    result.hold(len(refusals) >= result.rounds // 2, f"only {len(refusals)} refusals stand among the events")
    result.figures |= {"swings": swings, "refusals among the events": len(refusals)}
