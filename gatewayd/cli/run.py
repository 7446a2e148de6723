"""Run the daemon."""

import asyncio
import gc
import logging
import os
from pathlib import Path

import click

from gatewayd.cli import house


@click.command(name="run")
@house.settings_option
@click.option("--verbose", is_flag=True, help="Log also what is only of interest to a developer.")
def command(settings_file: Path | None, *, verbose: bool) -> None:
    """Watch the freezers until told to stop (Ctrl-C, or by the service manager).

    A SIGHUP reads the settings again; wrong ones change nothing.
    """
    from gatewayd.clock import SystemClock
    from gatewayd.daemon.run import WrongRoutes, run
    from gatewayd.settings import places
    from gatewayd.store.trouble import StoreTrouble
    from gatewayd.watchdog import Watchdog

    journal = "JOURNAL_STREAM" in os.environ  # the journal has its own stamps
    logging.basicConfig(
        level=logging.DEBUG if verbose else logging.INFO,
        format="%(levelname)s %(message)s" if journal else "%(asctime)s %(levelname)s %(message)s",
    )
    settings = house.settings_or_exit(settings_file, secrets=True)
    for warning in settings.warnings:
        logging.getLogger("gatewayd").warning("%s", warning)
    env = places.as_service(places.find(settings_file, os.environ), os.environ)
    # What is loaded by now stays for ever, so the collector need not look at it again and again. Readings make no
    # rings, so it may come less often; measured, both save a tenth of the CPU of a message and cost 1 MiB.
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 20)
    try:
        asyncio.run(
            run(
                settings,
                lambda: house.read_settings(settings_file),
                SystemClock(),
                Watchdog(os.environ),
                places.state_dir(env),
                env,
            )
        )
    except WrongRoutes as wrong:
        house.refuse(str(wrong), house.WRONG)
    except (StoreTrouble, RuntimeError, OSError) as wrong:
        house.refuse(str(wrong))
