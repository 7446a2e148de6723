"""Build the typed settings from what was checked. Nothing is at fault any more when this runs."""

from collections.abc import Callable
from dataclasses import replace
from datetime import tzinfo
from pathlib import Path

from gatewayd.model.format import Format, Saying
from gatewayd.model.house import WIRED, Freezer, House, Neighbour, PayloadRule, Person, Sensor
from gatewayd.model.priority import Priority
from gatewayd.model.route import MailRoute, Route, Secret, UrlRoute
from gatewayd.model.telling import Telling
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.cross import broker_port, limits_of
from gatewayd.settings.hearing import format_of, pace, rule_of
from gatewayd.settings.keys import Key
from gatewayd.settings.refer import called, entries, measured, members, split
from gatewayd.settings.typed import Broker, Pages, Radio, SignOfLife, Storing
from gatewayd.settings.warming import contents

WIRED_NAME = "Wired probes"
SMTP_PORTS = {"tls": 465, "starttls": 587}  # RFC 8314 section 7.3; RFC 6409 section 3.1

# A path as written, and where it stands -> the path to use; None where nothing was written.
Place = Callable[[Checked, Key[str]], Path | None]


def house(root: Checked, local_zone: tzinfo) -> House:
    """Build the house."""
    site = root.group(schema.SITE)
    site_id, within = site.take(schema.SITE_ID), members(root)
    return House(
        id=site_id,
        name=called(site, site_id, schema.SITE_NAME),
        zone=site.maybe(schema.TIME_ZONE) or local_zone,
        units=site.take(schema.UNITS),
        freezers={
            id_: _freezer(id_, entry, split(root, within[id_])) for id_, entry in entries(root, schema.FREEZERS).items()
        },
        sensors={id_: _sensor(id_, entry) for id_, entry in entries(root, schema.SENSORS).items()},
        sources=_sources(root),
        people={id_: _person(id_, entry) for id_, entry in entries(root, schema.PEOPLE).items()},
        keep_every=root.group(schema.STORE).take(schema.KEEP_EVERY),
        neighbours={id_: _neighbour(id_, entry) for id_, entry in entries(root, schema.NEIGHBOURS).items()},
        telling=_telling(root.group(schema.TELLING)),
    )


def _telling(entry: Checked) -> Telling:
    return Telling(
        join_within=entry.take(schema.JOIN_WITHIN),
        next_after=entry.take(schema.NEXT_AFTER),
        again_high=entry.take(schema.AGAIN_HIGH),
        again_medium=entry.take(schema.AGAIN_MEDIUM),
        note=entry.take(schema.NOTE),
        test=entry.take(schema.TEST),
    )


def _freezer(id_: str, entry: Checked, sensors: tuple[tuple[str, ...], tuple[str, ...]]) -> Freezer:
    return Freezer(
        id=id_,
        name=called(entry, id_, schema.FREEZER_NAME),
        kind=entry.take(schema.KIND),
        volume=entry.maybe(schema.VOLUME),
        place=entry.maybe(schema.PLACE) or "",
        sensors=sensors[0],
        limits=limits_of(entry),
        others=sensors[1],
        alarms=_alarms(entry.group(schema.ALARMS)),
        contents=contents(entry),
        room=entry.maybe(schema.ROOM) or "",
        room_about=entry.maybe(schema.ROOM_ABOUT),
    )


def _alarms(entry: Checked) -> dict[str, Priority | None]:
    """Return what the keeper wrote of the kinds; the others keep the priority of their kind."""
    return {key.name: entry.take(key) for key in schema.ALARM_KEYS if key.name in entry.found}


def _sensor(id_: str, entry: Checked) -> Sensor:
    source, channel, payload = _heard(entry)
    return Sensor(
        id=id_,
        name=called(entry, id_, schema.SENSOR_NAME),
        source=source,
        channel=channel,
        payload=payload,
        reports_every=pace(entry),
        place=entry.maybe(schema.SENSOR_PLACE) or "",
    )


def _heard(entry: Checked) -> tuple[str, str, PayloadRule | Saying]:
    """Return the source of a sensor, where in it the sensor is, and how it writes."""
    file, form = entry.maybe(schema.FILE), format_of(entry)
    if form is None:
        rule = PayloadRule(
            form=entry.take(schema.PAYLOAD),
            value=entry.maybe(schema.VALUE),
            battery=entry.maybe(schema.BATTERY),
            time=entry.maybe(schema.TIME),
            unit=entry.take(schema.UNIT),
            measures=measured(entry),
        )
        return entry.take(schema.SENSOR_BROKER), entry.take(schema.TOPIC), rule
    saying = Saying(
        format=form,
        which=entry.take(schema.WHICH),
        encrypted=entry.maybe(schema.KEY) is not None,
        rule=rule_of(entry) if form is Format.BYTES else None,
        read_every=entry.take(schema.READ_EVERY),
        measures=measured(entry),
    )
    if file is not None:
        return WIRED, file, saying
    return entry.take(schema.SENSOR_RADIO), entry.take(schema.ADDRESS), saying


def radios(root: Checked) -> dict[str, Radio]:
    """Build the radios by id."""
    return {
        id_: Radio(
            id=id_,
            name=called(entry, id_, schema.RADIO_NAME),
            adapter=entry.take(schema.ADAPTER),
            mode=entry.take(schema.MODE),
        )
        for id_, entry in entries(root, schema.RADIOS).items()
    }


def keys(root: Checked) -> dict[str, Secret]:
    """Return the key of each sensor that has one."""
    found = {id_: entry.maybe(schema.KEY) for id_, entry in entries(root, schema.SENSORS).items()}
    return {id_: Secret(key) for id_, key in found.items() if key is not None}


def _sources(root: Checked) -> dict[str, str]:
    """Return the names of brokers, radios and, if there are any, the wired probes, by id."""
    found = {id_: called(entry, id_, schema.BROKER_NAME) for id_, entry in entries(root, schema.BROKERS).items()}
    found |= {id_: called(entry, id_, schema.RADIO_NAME) for id_, entry in entries(root, schema.RADIOS).items()}
    if any(entry.maybe(schema.FILE) is not None for entry in entries(root, schema.SENSORS).values()):
        found[WIRED] = WIRED_NAME
    return found


def _person(id_: str, entry: Checked) -> Person:
    return Person(
        id=id_,
        name=called(entry, id_, schema.PERSON_NAME),
        routes=entry.ids(schema.TOLD_BY),
        told_from=entry.take(schema.TOLD_FROM),
        quiet=entry.maybe(schema.QUIET_HOURS),
    )


def _file(place: Place, entry: Checked, key: Key[str]) -> str | None:
    path = place(entry, key)
    return str(path) if path is not None else None


def brokers(root: Checked, place: Place) -> dict[str, Broker]:
    """Build the brokers by id."""
    site = root.group(schema.SITE).take(schema.SITE_ID)
    return {
        id_: Broker(
            id=id_,
            name=called(entry, id_, schema.BROKER_NAME),
            host=entry.take(schema.HOST),
            port=broker_port(entry),
            tls=entry.take(schema.TLS),
            ca=_file(place, entry, schema.CA),
            user=entry.take(schema.USER),
            password=Secret(entry.take(schema.PASSWORD)),
            client_id=entry.maybe(schema.CLIENT_ID) or f"gatewayd-{site}",
            own_topic=entry.maybe(schema.OWN_TOPIC) or f"gatewayd/{site}",
            window=entry.take(schema.WINDOW),
            session_keep=entry.take(schema.SESSION_KEEP),
            keepalive=entry.take(schema.KEEPALIVE),
        )
        for id_, entry in entries(root, schema.BROKERS).items()
    }


def routes(root: Checked, place: Place) -> dict[str, Route]:
    """Build the routes by id."""
    built = {}
    for id_, entry in entries(root, schema.ROUTES).items():
        ca, url = _file(place, entry, schema.ROUTE_CA), entry.maybe(schema.URL)
        mail = entry.group(schema.MAIL)
        built[id_] = Route(id_, UrlRoute(Secret(url), ca) if url is not None else _mail(mail, ca))
    return built


def _mail(entry: Checked, ca: str | None) -> MailRoute:
    security = entry.take(schema.SECURITY)
    return MailRoute(
        host=entry.take(schema.MAIL_HOST),
        port=entry.maybe(schema.MAIL_PORT) or SMTP_PORTS[security],
        security=security,
        sender=entry.take(schema.FROM),
        to=entry.take(schema.TO),
        user=entry.take(schema.MAIL_USER),
        password=Secret(entry.take(schema.MAIL_PASSWORD)),
        ca=ca,
    )


def _neighbour(id_: str, entry: Checked) -> Neighbour:
    return Neighbour(
        id=id_,
        name=called(entry, id_, schema.NEIGHBOUR_NAME),
        silent_after=entry.take(schema.SILENT_AFTER),
        source=entry.maybe(schema.NEIGHBOUR_BROKER) or "",
        topic=entry.maybe(schema.NEIGHBOUR_TOPIC) or "",
    )


def tokens(root: Checked) -> dict[str, Secret]:
    """Return the word of each neighbour."""
    return {id_: Secret(entry.take(schema.TOKEN)) for id_, entry in entries(root, schema.NEIGHBOURS).items()}


def pages(root: Checked, place: Place) -> Pages | None:
    """Build where the pages answer, None without the section."""
    if schema.PAGES.name not in root.groups:
        return None
    entry = root.group(schema.PAGES)
    host, port = entry.take(schema.LISTEN)
    return Pages(
        host,
        port,
        address=entry.maybe(schema.PAGES_ADDRESS) or "",
        certificate=_file(place, entry, schema.CERTIFICATE),
        private_key=_file(place, entry, schema.PRIVATE_KEY),
        proxy=entry.maybe(schema.PROXY) or "",
    )


def sign_of_life(root: Checked) -> SignOfLife | None:
    """Build the sign of life, None without the section."""
    if schema.SIGN.name not in root.groups:
        return None
    entry = root.group(schema.SIGN)
    sign = SignOfLife(
        url=Secret(entry.take(schema.SIGN_URL)),
        method=entry.take(schema.METHOD),
        every=entry.take(schema.EVERY),
        text=entry.maybe(schema.TEXT) or "",
    )
    codes = tuple(int(code) for code in entry.ids(schema.CODES))
    return replace(sign, codes=codes) if codes else sign


def storing(root: Checked, path: Path) -> Storing:
    """Build what the store needs to know; `path` is where the database is."""
    store = root.group(schema.STORE)
    return Storing(
        path=path,
        keep_every=store.take(schema.KEEP_EVERY),
        commit_every=store.take(schema.COMMIT_EVERY),
        keep_raw=store.take(schema.KEEP_RAW),
        nightly_copy_at=store.take(schema.NIGHTLY_COPY_AT),
        copies=store.take(schema.COPIES),
    )
