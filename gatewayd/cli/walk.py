"""Walk with somebody from box to box after a warm spell: big plain questions, one at a time, and what follows."""

import secrets
from collections.abc import Sequence
from contextlib import closing
from itertools import groupby
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.clock import SystemClock
from gatewayd.door import Plain
from gatewayd.food import said
from gatewayd.food.asking import (
    AT_LIMIT,
    BELOW_SIX,
    COLD,
    JUICE,
    LONG,
    REST,
    RULES,
    SOUND,
    WARM,
    has_vegetable_juice,
    which,
)
from gatewayd.food.fate import SENSOR, Fate
from gatewayd.message.words import name
from gatewayd.model.excursion import Excursion, Ruling
from gatewayd.settings.typed import Settings
from gatewayd.store import carried, excursion
from gatewayd.store.spell import FIRST, GOES_ON, when, why

YES, NO, EACH, SKIP = "y", "n", "e", "?"
WHICH = "On which is it? Numbers of the packages, with spaces between, or all"


class Walk:
    """Ask and order."""

    def __init__(self, settings: Settings, door: Path, base: Plain) -> None:
        """Take the settings, the daemon's door, and what all requests have in common."""
        self._settings = settings
        self._door = door
        self._base = base
        self._freezer: Plain = {}

    def spells(self) -> list[Excursion]:
        """Return the spells that are meant."""
        with closing(house.reader(self._settings)) as conn:
            every = excursion.spells(conn, self._settings.house)
        return excursion.numbered(every, self._base["number"], self._base["freezer"])

    def fates(self, spell: Excursion) -> list[Fate]:
        """Return what is known of the food now."""
        with closing(house.reader(self._settings)) as conn:
            return carried.story(conn, self._settings.house, spell, SystemClock().now().wall)[1]

    def order(self, **asked: object) -> bool:
        """Have something written down; say so, and whether it was."""
        request = {**self._base, **self._freezer, **asked, "key": secrets.token_hex(8)}
        answer = next(house.knock(self._door, request))
        click.echo(f"  {answer.get('error') or answer.get('text', '')}")
        return bool(answer.get("done"))

    def through(self, spell: Excursion) -> None:
        """Walk through one freezer."""
        self._freezer = {"freezer": spell.freezer}
        wired, now = self._settings.house, SystemClock().now().wall
        click.echo(f"\n{name(spell.freezer, wired).upper()}\n{when(spell, wired, now)}: {why(spell)}")
        if spell.ended is None:
            click.echo(GOES_ON)
        those = self.fates(spell)
        if not those:
            click.echo("The stock's list has nothing in it. Judge each package by itself; when in doubt, throw it out.")
            if click.confirm("Are you done with it?", default=False):
                self.order(do="done")
            return
        click.echo(RULES)
        for _, box in groupby([fate for fate in those if fate.open], lambda fate: fate.item.box.id):
            self._box(spell, list(box))

    def _box(self, spell: Excursion, those: Sequence[Fate]) -> None:
        click.echo(f"\n--- {those[0].item.box.name.upper()} ---")
        for fate in those:
            click.echo(f"  {self._words(fate)}")
        asking = [fate for fate in those if fate.by != SENSOR]
        if not asking:
            click.echo("  The sensor was at or below 4.4 °C (40 °F) all the time: there is nothing to ask.")
        else:
            if len(asking) < len(those):
                click.echo(f"  {REST} To look at:")
                click.echo("\n".join(f"  {self._words(fate)}" for fate in asking))
            self._found(asking)
        if asking or any(fate.drip for fate in those):
            self._juice(those if any(fate.drip for fate in those) else asking)
        now = {fate.item: fate for fate in self.fates(spell)}
        left = [now[fate.item] for fate in those if fate.item in now and now[fate.item].open]
        for fate in left:
            ruling = fate.verdict.ruling
            said_so = "not judged: when in doubt, throw it out" if ruling is Ruling.NOT_JUDGED else fate.verdict.rule
            click.echo(f"  {self._words(fate)}\n      {ruling.value.upper()}. {said_so}")
            if fate.verdict.strict:
                click.echo(f"      {fate.verdict.strict}")
        self._decide(left)

    def _found(self, those: Sequence[Fate]) -> None:
        """Ask what was found of a whole box, or of each package in it."""
        several = len(those) > 1
        answer = self._ask(COLD, each=several)
        if answer == EACH:
            for fate in those:
                click.echo(f"  {self._words(fate)}")
                self._answer([fate], self._ask(COLD, each=False))
        else:
            self._answer(those, answer)

    def _juice(self, those: Sequence[Fate]) -> None:
        """Ask for raw juice. There is no answer by default: an empty line is asked again."""
        if click.confirm(JUICE, default=None):
            self.order(do="answer", touched=False, **which(those))
            return
        touched: list[Fate] = list(those) if len(those) == 1 else []
        while not touched:
            named = click.prompt(WHICH).split()
            touched = [fate for fate in those if named == ["all"] or (_number(fate) in named)]
        self.order(do="answer", touched=True, **which(touched))
        clean = [fate for fate in those if fate not in touched]
        if clean:
            self.order(do="answer", touched=False, **which(clean))

    def _answer(self, those: Sequence[Fate], answer: str) -> None:
        if answer == YES:
            self.order(do="answer", answer="cold", **which(those))
        elif answer == NO:
            hours: float | None = None
            short = self._ask(WARM, each=False)
            if short == YES:
                hours = AT_LIMIT
            elif short == NO and has_vegetable_juice(those) and self._ask(LONG, each=False) == YES:
                hours = BELOW_SIX
            self.order(do="answer", answer="warm", hours=hours, **which(those))

    def _ask(self, question: str, *, each: bool) -> str:
        known = [YES, NO, SKIP, *([EACH] if each else [])]
        words = "y yes, n no, ? not known" + (", e not the same for each" if each else "")
        asked: str = click.prompt(f"  {question}\n  [{words}]", type=click.Choice(known), show_choices=False)
        return asked

    def _decide(self, those: Sequence[Fate]) -> None:
        clear = [fate for fate in those if fate.verdict.ruling in (Ruling.REFREEZE, Ruling.DISCARD)]
        if clear and click.confirm(f"  Do what the chart says with {_many(clear)}?", default=True):
            self.order(do="decide", decision="chart", **which(clear))
            those = [fate for fate in those if fate not in clear]
        for fate in those:
            self._decide_one(fate)

    def _decide_one(self, fate: Fate) -> None:
        click.echo(f"  {self._words(fate)}")
        if fate.verdict.ruling is Ruling.IF_SOUND and self._ask(SOUND, each=False) == YES:
            self.order(do="decide", decision="refreeze", **which([fate]))
            return
        verbs = {"k": "keep", "f": "refreeze", "t": "throw"}
        chosen = click.prompt(
            "  [k keep, f freeze again and use first, t throw out, l later]",
            type=click.Choice([*verbs, "l"]), default="l", show_choices=False,
        )  # fmt: skip
        if chosen == "l":
            return
        if not self.order(do="decide", decision=verbs[chosen], **which([fate])) and click.confirm(
            "  Keep it all the same?", default=False
        ):
            self.order(do="decide", decision=verbs[chosen], anyway=True, **which([fate]))

    def _words(self, fate: Fate) -> str:
        package, wired = fate.item.package, self._settings.house
        if package is None:
            return "all that is in it (nobody listed what)"
        return f"{package.id:>5}  {said.package(package, wired.zone, wired.units)}"


def _number(fate: Fate) -> str:
    return "" if fate.item.package is None else str(fate.item.package.id)


def _many(those: Sequence[Fate]) -> str:
    return "this one" if len(those) == 1 else f"these {len(those)}"


def walk(settings: Settings, door: Path, base: Plain) -> None:
    """Walk through all freezers of a warm spell; what was said stays said, whenever one breaks off."""
    walking = Walk(settings, door, base)
    those = walking.spells()
    if not those:
        house.refuse(f"There is no warm spell {base['number']}. See them with: gatewayd excursion list")
    click.echo(FIRST)
    for spell in those:
        walking.through(spell)
    click.echo(f"\nSee it all with: gatewayd excursion show {base['number']}")
