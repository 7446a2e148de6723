"""A short round of the mail torture, and the stop while a message cannot get away."""

import os
import random
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.torture import mail
from tests.torture.house import WARM, Feed, Household, household
from tests.torture.result import Result

ENDS_WITHIN = 5.0  # s


@pytest.mark.rig
async def test_short_round() -> None:
    """Whatever the routes do, each message arrives, twice only if an answer was lost, and then it says so."""
    result = await mail.run(seed=7, rounds=1, notices=3)

    assert result.faults == []


@pytest.mark.parametrize("seed", range(3))
async def test_day_without_mail(seed: int) -> None:
    """A day without mail costs no message, is not answered by a storm of tries, nor its end by a storm of letters."""
    result = Result("mail", seed, 1)
    figures = await mail.day_without(result, random.Random(seed))

    assert result.faults == []
    assert figures["tries of the dead route"] > 24


def _warm(house: Household, feed: Feed) -> None:
    feed.swing, feed.celsius = False, WARM
    house.until(lambda: "high raised" in house.log(), "the alarm")


@pytest.mark.rig
@pytest.mark.parametrize("behave", ["hang", "silent", "drip", "slow"])
def test_stop_while_a_letter_is_under_way(behave: str) -> None:
    """The daemon ends within five seconds although its mail server never answers, and the message goes out again."""
    with household() as (broker, post, house), house, Feed(broker, random.Random(1)) as feed:
        post.server.behave, post.server.delay = behave, 60.0
        _warm(house, feed)
        house.until(lambda: _senders(house), "the letter is under way")
        begin = time.monotonic()
        code = house.down()
        took = time.monotonic() - begin
        left = house.look("SELECT progress FROM delivery")
        post.server.behave = "take"
        house.up()
        house.until(lambda: post.server.raw, "the mail after the next start")
        body = post.server.mails[-1].get_content()

    assert code == 0
    assert took <= ENDS_WITHIN
    assert left == [("sending",)]
    assert "sent again" in body


def _senders(house: Household) -> list[int]:
    """Return the sending children of the daemon."""
    assert house.process is not None
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
            line = (folder / "cmdline").read_bytes()
        except OSError:
            continue
        if parent == house.process.pid and b"notify.child" in line:
            found.append(int(folder.name))
    return found


@contextmanager
def _deaf_names(folder: Path) -> Iterator[list[str]]:
    """Yield a program that runs another where name servers take questions and never answer."""
    deaf = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    deaf.bind(("127.0.0.153", 53))
    resolv = folder / "resolv.conf"
    resolv.write_text("nameserver 127.0.0.153\noptions timeout:30 attempts:5\n")
    script = folder / "deaf"
    script.write_text(f'#!/bin/sh\nmount --bind {resolv} "$(readlink -f /etc/resolv.conf)" && exec "$@"\n')
    script.chmod(0o755)
    try:
        yield ["unshare", "--mount", str(script)]
    finally:
        deaf.close()


def _may_unshare() -> bool:
    return os.geteuid() == 0 and subprocess.run(["unshare", "--mount", "true"], check=False).returncode == 0


@pytest.mark.rig
@pytest.mark.skipif(not _may_unshare(), reason="only root may give a process name servers of its own")
def test_stop_while_names_hang(tmp_path: Path) -> None:
    """With name servers that never answer, for the mail and for the broker, the daemon ends within five seconds."""
    with _deaf_names(tmp_path) as before, household() as (broker, _, house), Feed(broker, random.Random(1)) as feed:
        text = house.settings.read_text()
        text = text.replace("mail: {host: localhost", "mail: {host: mail.heron-lane.example")
        text = text.replace(
            "brokers:\n", "brokers:\n  barn: {host: barn.heron-lane.example, tls: yes, user: keeper, password: x}\n"
        )
        house.settings.write_text(text)
        house.start(before)
        house.until(lambda: any(s["up"] for s in house.status().get("sources", [])), "one broker is connected")
        _warm(house, feed)
        house.until(lambda: _senders(house), "the letter is under way")
        begin = time.monotonic()
        code = house.down()
        took = time.monotonic() - begin

    assert code == 0
    assert took <= ENDS_WITHIN


@pytest.mark.rig
def test_stop_twice(tmp_path: Path) -> None:
    """A second request to stop while it stops changes nothing."""
    with household() as (broker, post, house), house, Feed(broker, random.Random(1)) as feed:
        post.server.behave = "hang"
        _warm(house, feed)
        house.until(lambda: _senders(house), "the letter is under way")
        again = threading.Timer(0.5, lambda: house.signal(signal.SIGTERM))
        again.start()
        code = house.down()
        again.join()

    assert code == 0
