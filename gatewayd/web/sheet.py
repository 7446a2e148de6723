"""The settings as fields of a form: what stands where, what is the default and why, and what was typed. Pure."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from gatewayd.model.house import House, Kind
from gatewayd.model.reading import Quantity
from gatewayd.model.units import TemperatureUnit, parse_difference
from gatewayd.settings import readers, schema
from gatewayd.settings.document import Content, Document, plain, with_setting
from gatewayd.settings.faults import Said
from gatewayd.settings.keys import Group, Key, ListKey
from gatewayd.settings.reasons import REASONS
from gatewayd.settings.standing import Standing, Stands

TEMPERATURES = (readers.temperature, readers.room)
DIFFERENCES = (readers.difference, readers.difference_or_off)
BARE = re.compile(r"[+\-−]?\d+(\.\d+)?")
LONGEST = 200  # characters of one field; the readers allow no more
LEVELS = ("low", "medium", "high")

Pairs = tuple[tuple[str, str], ...]  # value, words
CHANGED = "The settings were changed meanwhile, maybe by somebody else. Look at them and save again."


@dataclass(frozen=True, slots=True)
class Field:
    """Hold one setting as a page shows it.

    `path` is its place in the settings, `name` that in the form. `value` is what stands in house.yaml or was typed.
    `own` is where the keeper wrote it by hand: then it is shown and left alone. `default` is in the house's units.
    `pairs` are the choices of a setting that is one of few, the first for "as by default".
    """

    path: tuple[str, ...]
    key: "Key[Any]"
    label: str
    why: str
    default: str
    value: str = ""
    own: Stands | None = None
    pairs: Pairs = ()
    wrong: str = ""

    @property
    def name(self) -> str:
        """Return its name in the form and in what the schema says."""
        return ".".join(self.path)

    @property
    def id(self) -> str:
        """Return its id on the page."""
        return "-".join(self.path)

    @property
    def allowed(self) -> str:
        """Return what may be written, in words."""
        return "" if self.pairs else self.key.reader.allowed

    @property
    def shown(self) -> str:
        """Return the value in force as people read it, empty where it is the default."""
        return self.own.text if self.own else self.value


@dataclass(frozen=True, slots=True)
class Sheet:
    """Hold the fields of one form with what is wrong with the form as a whole."""

    fields: tuple[Field, ...]
    wrong: tuple[str, ...] = field(default=())

    @property
    def editable(self) -> bool:
        """Return whether anything on it may be changed here."""
        return any(one.own is None for one in self.fields)

    @property
    def right(self) -> bool:
        """Return whether nothing is wrong."""
        return not self.wrong and not any(one.wrong for one in self.fields)


def sheet_of(group: Group, path: Sequence[str], standing: Standing, house: House) -> Sheet:
    """Return the fields of those keys of a group that pages may change; `path` has ids where the schema has <id>."""
    found = []
    pattern = (path[0], "<id>", *path[2:]) if len(path) > 1 else tuple(path)
    for key in group.keys:
        reason = REASONS.get(".".join((*pattern, key.name)))
        if reason is None or isinstance(key, ListKey):
            continue
        whole = (*path, key.name)
        stands, own = standing.at.get(".".join(whole)), standing.own(".".join(whole))
        value = stands.text if stands and own is None else ""
        default = shown(key, key.default, house.units) if key.default else key.otherwise
        pairs = choices(".".join((*pattern, key.name)), key, default, house)
        value = _canonical(value.replace("$${", "${"), pairs)
        found.append(Field(whole, key, reason.label, reason.why, default, value, own, pairs))
    return Sheet(tuple(found))


def shown(key: "Key[Any]", text: str, units: TemperatureUnit) -> str:
    """Write a setting's text for people: temperatures in the household's scale, all else as it is."""
    if key.reader in TEMPERATURES:
        celsius = float(key.reader.parse(text))
        return units.show(celsius, 0 if round(celsius) == celsius and units is TemperatureUnit.C else 1)
    if key.reader in DIFFERENCES and text != "0":
        return units.show_difference(parse_difference(text))
    return text


def choices(path: str, key: "Key[Any]", default: str, house: House) -> Pairs:
    """Return the choices of a setting that is one of few, () for one that is written."""
    words: Iterable[tuple[str, str]] = ()
    match key.reader:
        case readers.kind:
            words = ((kind.value, kind.value.replace("-", " ")) for kind in Kind)
        case readers.scale:
            words = ((unit.value, unit.value) for unit in TemperatureUnit)
        case readers.priority:
            words = ((level, level) for level in LEVELS)
        case readers.loud_level:
            words = ((level, level) for level in LEVELS[1:])
        case readers.level:
            words = ((level, level) for level in ("off", *LEVELS))
    if path == "freezers.<id>.room":
        inside = {sensor for freezer in house.freezers.values() for sensor in (*freezer.sensors, *freezer.others)}
        words = (
            (id_, sensor.name)
            for id_, sensor in house.sensors.items()
            if id_ not in inside and sensor.measures is Quantity.TEMPERATURE
        )
        return (("", "none"), *words)
    found = tuple(words)
    return (("", f"as usual: {default}"), *found) if found else ()


def typed(was: Sheet, fields: Mapping[str, str], units: TemperatureUnit) -> Sheet:
    """Return a sheet with what was typed; each value that its reader does not take has the reason beside it.

    A field that is missing stays as it was. A bare number of a temperature is taken in the household's scale.
    """
    return Sheet(tuple(_typed(one, fields.get(one.name), units) for one in was.fields))


def _typed(one: Field, text: str | None, units: TemperatureUnit) -> Field:
    if one.own is not None or text is None:
        return one
    text = text.strip()
    if BARE.fullmatch(text) and (one.key.reader in TEMPERATURES or (one.key.reader in DIFFERENCES and text != "0")):
        text = f"{text} {units.value}"
    if not text:
        return replace(one, value="")
    problem = ""
    if len(text) > min(LONGEST, one.key.reader.longest):
        problem = f"is longer than {min(LONGEST, one.key.reader.longest)} characters"
    elif one.pairs and text not in dict(one.pairs):
        problem = "is not one of the choices"
    else:
        try:
            readers.check_characters(text)
            one.key.reader.parse(text)
        except ValueError as wrong:
            problem = str(wrong).split("; ")[0]
    allowed = ", ".join(value for value, _ in one.pairs if value) or one.key.reader.allowed
    return replace(one, value=text, wrong=f"{problem}. Allowed: {allowed}." if problem else "")


def edited(document: Document, filled: Sheet) -> Document:
    """Return a document that says what a sheet does; an empty field leaves its setting to its default."""
    for one in filled.fields:
        if one.own is None:
            content: Content | None = plain(one.value) if one.value else None
            document = with_setting(document, one.path, content)
    return document


def judged(filled: Sheet, faults: Sequence[str]) -> Sheet:
    """Return a sheet with each fault beside its field; what belongs to none stands above them all."""
    names = {one.name for one in filled.fields}
    beside = {fault.key: fault.short for fault in reversed(faults) if isinstance(fault, Said) and fault.key in names}
    above = [
        fault.short if isinstance(fault, Said) and _whole(fault, names) else str(fault)
        for fault in faults
        if not (isinstance(fault, Said) and fault.key in names)
    ]
    fields = tuple(replace(one, wrong=beside.get(one.name, one.wrong)) for one in filled.fields)
    return Sheet(fields, tuple(above))


def _whole(fault: Said, names: Iterable[str]) -> bool:
    """Say whether a fault is of the whole group of these fields: the line in a file not written helps nobody."""
    return bool(fault.key) and any(name.startswith(f"{fault.key}.") for name in names)


def _canonical(value: str, pairs: Pairs) -> str:
    """Return a choice as the form has it: people write `Chest` or `F` by hand too."""
    return next((one for one, _ in pairs if one and one.lower() == value.strip().lower()), value)


def freezer_sheets(id_: str, standing: Standing, house: House) -> dict[str, Sheet]:
    """Return the forms of a freezer by the word in their address."""
    above = (schema.FREEZERS.name, id_)
    return {
        "about": sheet_of(schema.FREEZERS, above, standing, house),
        "limits": sheet_of(schema.LIMITS, (*above, schema.LIMITS.name), standing, house),
        "alarms": sheet_of(schema.ALARMS, (*above, schema.ALARMS.name), standing, house),
        "contents": sheet_of(schema.CONTENTS, (*above, schema.CONTENTS.name), standing, house),
    }
