"""Check the settings, and on request every route with a test message."""

import asyncio
import sys
from datetime import datetime
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.model.moment import SECOND, from_wall
from gatewayd.settings.typed import Settings

TEST_DEADLINE = 45 * SECOND


@click.command(name="check")
@house.settings_option
@house.json_option
@click.option("--routes", is_flag=True, help="Send a test message by each route.")
@click.option("--explain", is_flag=True, help="Print every setting with what it means and its default.")
def command(settings_file: Path | None, *, as_json: bool, routes: bool, explain: bool) -> None:
    """Check the settings and say all that is wrong with them; nothing is changed."""
    if explain:
        from gatewayd.settings.explain import text

        click.echo(text())
        return
    settings = house.settings_or_exit(settings_file, secrets=True)
    problems = asyncio.run(_inspect(settings))
    sent = asyncio.run(_send(settings, house.state_dir(settings_file))) if routes and not problems else {}
    failed = [route for route, error in sent.items() if error]
    if as_json:
        house.show(
            {
                "files": [str(file) for file in settings.files],
                "warnings": list(settings.warnings),
                "routes": [{"route": route, "problem": problem} for route, problem in problems],
                "sent": sent,
            }
        )
    else:
        _print(settings, problems, sent)
    sys.exit(house.WRONG if problems else house.NOT_DONE if failed else house.DONE)


def _print(settings: Settings, problems: list[tuple[str, str]], sent: dict[str, str]) -> None:
    for warning in settings.warnings:
        click.echo(f"careful: {warning}", err=True)
    for route, problem in problems:
        click.echo(f"route {route}: {problem}", err=True)
    for route, error in sent.items():
        click.echo(f"route {route}: {error or 'the test message was sent; did it reach you?'}", err=bool(error))
    if not problems and not any(sent.values()):
        files = ", ".join(str(file) for file in settings.files)
        wired = settings.house
        counts = [
            _count(len(wired.freezers), "freezer", "freezers"),
            _count(len(wired.sensors), "sensor", "sensors"),
            _count(len(wired.people), "person", "people"),
        ]
        found = f"no mistakes, but {_count(len(settings.warnings), 'thing', 'things')} to look at"
        verdict = found if settings.warnings else "all is well"
        click.echo(f"{files}: {verdict} ({', '.join(counts)}).")


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


async def _inspect(settings: Settings) -> list[tuple[str, str]]:
    from gatewayd.clock import SystemClock
    from gatewayd.notify.inspect import inspect_routes

    return await inspect_routes(list(settings.routes.values()), SystemClock())


async def _send(settings: Settings, state_dir: Path) -> dict[str, str]:
    """Send one test letter by each route, and return what went wrong with each, empty if nothing."""
    from gatewayd.clock import SystemClock
    from gatewayd.notify.letter import trial_letter
    from gatewayd.notify.sender import Sender

    clock = SystemClock()
    sender = Sender(clock, settings.house.name, state_dir)

    def made() -> datetime:
        return from_wall(clock.now().wall).astimezone(settings.house.zone)

    found = {}
    for route in settings.routes.values():
        outcome = await sender.send(route, trial_letter(route.id, settings.house.name, made()), TEST_DEADLINE)
        found[route.id] = "" if outcome.ok else outcome.error
    return found
