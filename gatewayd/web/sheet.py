"""The settings as fields of a form: what stands where, what is the default and why, and what was typed. Pure."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from gatewayd.model.house import House, Kind
from gatewayd.model.reading import Quantity
from gatewayd.model.units import MINUS, TemperatureUnit, parse_difference
from gatewayd.settings import readers, schema
from gatewayd.settings.document import Content, Document, at, plain, with_setting
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
CHANGED = "the settings were changed at this very moment; save once more"
WAS = "was:"  # before the name of a field: what stood there when the form was loaded

SetBy = Callable[[str, str], str]  # path, what stands there -> who set it so, empty where that is not known


@dataclass(frozen=True, slots=True)
class Field:
    """Hold one setting as a page shows it.

    `path` is its place in the settings, `name` that in the form. `value` is what stands in house.yaml or was typed;
    `stands` is what stands there as the form shows it, `raw` as it is written in the file.
    `own` is where the keeper wrote it by hand: then it is shown and left alone. `default` is in the house's units.
    `pairs` are the choices of a setting that is one of few, the first for "as by default". `meanwhile` says what
    somebody else made of it since the form was loaded.
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
    stands: str = ""
    raw: str = ""
    meanwhile: str = ""

    @property
    def edited(self) -> bool:
        """Return whether it is to say something else than what stands there."""
        return self.own is None and self.value != self.stands

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
    """Hold the fields of one form with what is wrong with the form as a whole.

    `unread` says that a settings file cannot be read, so that nothing on it can be saved.
    """

    fields: tuple[Field, ...]
    wrong: tuple[str, ...] = field(default=())
    unread: bool = False

    @property
    def editable(self) -> bool:
        """Return whether anything on it may be changed here."""
        return any(one.own is None for one in self.fields)

    @property
    def meanwhile(self) -> tuple[str, ...]:
        """Return what somebody else made of its settings since the form was loaded, a sentence each."""
        return tuple(f"{one.label} was changed meanwhile: {one.meanwhile}." for one in self.fields if one.meanwhile)

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
        raw = stands.written if stands and own is None else ""
        default = shown(key, key.default, house.units) if key.default else key.otherwise
        pairs = choices(".".join((*pattern, key.name)), key, default, house)
        value = _canonical(_in_scale(key, raw.replace("$${", "${"), house.units), pairs)
        found.append(Field(whole, key, reason.label, reason.why, default, value, own, pairs, stands=value, raw=raw))
    return Sheet(tuple(found), unread=bool(standing.faults))


def shown(key: "Key[Any]", text: str, units: TemperatureUnit) -> str:
    """Write a setting's text for people: temperatures in the household's scale, all else as it is."""
    if key.reader in TEMPERATURES:
        celsius = float(key.reader.parse(text))
        return units.show(celsius, 0 if round(celsius) == celsius and units is TemperatureUnit.C else 1)
    if key.reader in DIFFERENCES and text != "0":
        return units.show_difference(parse_difference(text))
    return text


def _in_scale(key: "Key[Any]", text: str, units: TemperatureUnit) -> str:
    """Return a value as the household writes it: one that was saved under the other scale is shown in this one."""
    other = next(unit for unit in TemperatureUnit if unit is not units)
    if key.reader not in (*TEMPERATURES, *DIFFERENCES) or not text.strip().upper().endswith(other.value[-1]):
        return text
    try:
        return shown(key, text, units).replace(MINUS, "-")
    except ValueError:
        return text  # a value at fault is shown as it stands


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


def typed(now: Sheet, fields: Mapping[str, str], units: TemperatureUnit, set_by: SetBy) -> Sheet:
    """Return a sheet with what was typed; each value that its reader does not take has the reason beside it.

    `now` is how the settings stand. Only what a person changed counts as typed: a field that says what it said when the
    form was loaded, or that is missing, stays as it stands now, whoever changed it meanwhile. Where both changed it,
    the field asks. A bare number of a temperature is taken in the household's scale.
    """
    return replace(
        now,
        fields=tuple(
            _typed(one, fields.get(one.name), fields.get(WAS + one.name), units, set_by) for one in now.fields
        ),
    )


def _typed(one: Field, text: str | None, loaded: str | None, units: TemperatureUnit, set_by: SetBy) -> Field:
    if one.own is not None or text is None:
        return one
    text = text.strip()
    changed = loaded is not None and loaded != one.stands
    if changed:
        who = set_by(one.name, one.raw)
        one = replace(one, meanwhile=f"it is now {_words(one)}{f', by {who}' if who else ''}")
    if text == loaded:
        return one
    if BARE.fullmatch(text) and (one.key.reader in TEMPERATURES or (one.key.reader in DIFFERENCES and text != "0")):
        text = f"{text} {units.value}"
    if problem := _problem(one, text):
        allowed = ", ".join(value for value, _ in one.pairs if value) or one.key.reader.allowed
        return replace(one, value=text, wrong=f"{problem}. Allowed: {allowed}.")
    if changed and text != one.stands:
        return replace(
            one, value=text, wrong=f"It was changed meanwhile: {one.meanwhile}. Save again to have it as you wrote it."
        )
    return replace(one, value=text)


def _problem(one: Field, text: str) -> str:
    """Say why a value cannot be, empty for one that can, such as none at all."""
    if not text:
        return ""
    if len(text) > min(LONGEST, one.key.reader.longest):
        return f"is longer than {min(LONGEST, one.key.reader.longest)} characters"
    if one.pairs and text not in dict(one.pairs):
        return "is not one of the choices"
    try:
        readers.check_characters(text)
        one.key.reader.parse(text)
    except ValueError as wrong:
        return readers.without_advice(wrong)
    return ""


def _words(one: Field) -> str:
    """Return what stands there in words."""
    if not one.stands:
        return f"{one.default} (the default)" if one.default and not one.pairs else dict(one.pairs).get("", "not set")
    return dict(one.pairs).get(one.stands, one.stands)


def edited(document: Document, filled: Sheet) -> Document:
    """Return a document that says what was changed in a sheet; an empty field leaves its setting to its default.

    Raise ValueError where something else stands there by now.
    """
    for one in filled.fields:
        if one.edited:
            if (at(document, *one.path) or "") != one.raw:
                raise ValueError(CHANGED)
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
    return replace(filled, fields=fields, wrong=tuple(above))


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
