"""Write the settings of a small house with its store, for the commands that read them."""

import asyncio
import json
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from click.testing import CliRunner

from gatewayd.cli.main import cli
from gatewayd.store.batch import Batch
from gatewayd.store.store import Store

LONDON = ZoneInfo("Europe/London")
SETTINGS = """\
site: {id: heron-lane, name: Heron Lane, time_zone: Europe/London}
freezers:
  shed-chest: {name: Shed chest, sensors: [shed-chest-air]}
  cellar-upright: {name: Cellar upright, sensors: [cellar-upright-air]}
sensors:
  shed-chest-air: {broker: here, topic: shed/chest/air}
  cellar-upright-air: {broker: here, topic: cellar/upright/air}
brokers: {here: {host: localhost}}
people:
  ann: {name: Ann, told_by: [ann-mail]}
  ben: {name: Ben, told_by: [ben-mail]}
routes:
  ann-mail: {mail: {host: mail.example.org, from: ann@example.org, to: ann@example.org}}
  ben-mail: {mail: {host: mail.example.org, from: ben@example.org, to: ben@example.org}}
"""


def settle(folder: Path, batches: Sequence[Batch] = (), settings: str = SETTINGS) -> Path:
    """Write settings and a store that holds the batches; return the settings file."""
    file = folder / "gatewayd.yaml"
    file.write_text(settings + f"store: {{path: {folder / 'house.db'}}}\nsocket: {folder / 'door.sock'}\n")

    async def fill() -> None:
        store = await Store.open(folder / "house.db", LONDON)
        for batch in batches:
            await store.commit(batch)
        await store.close()

    if batches:
        asyncio.run(fill())
    return file


def call(file: Path, *args: str) -> tuple[int, str]:
    """Call a command in this process and return its exit code and what it printed."""
    done = CliRunner().invoke(cli, [*args, "--settings", str(file)], env={"COLUMNS": "200"})
    return done.exit_code, done.output


def asked(file: Path, *args: str) -> object:
    """Call a command for JSON and return its answer."""
    code, output = call(file, *args, "--json")
    assert code == 0, output
    return json.loads(output)
