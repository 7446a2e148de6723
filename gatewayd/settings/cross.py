"""Cross-check: what is right line by line and still cannot be meant. Works on whatever was read, faults or not."""

from collections.abc import Callable
from dataclasses import replace

from gatewayd.model.house import WIRED, Kind
from gatewayd.model.limits import Limits
from gatewayd.model.moment import MINUTE
from gatewayd.model.reading import Quantity
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import HIDDEN, Fault, Spot, Warned, fault
from gatewayd.settings.hearing import hearing, own_topic, pace
from gatewayd.settings.keys import Key
from gatewayd.settings.meant import MELTS, contradiction, label, meant, namesakes
from gatewayd.settings.readers import is_loopback
from gatewayd.settings.refer import called, entries, ids, measured, members, refer, split, written
from gatewayd.settings.typed import FIRST_ADAPTER, PLAIN_PORT, TLS_PORT
from gatewayd.settings.warming import warming

# Longer than the lid stands open or an automatic defrost lasts: warm air blown over the coil for half an hour
HIGHHIGH_WITH_DEFROST = 60 * MINUTE
# °C: the limits beyond which an alarm would only tell of food that is lost. Above 0 °C it thaws; 10 °C is a cool room
HOTTEST = ((schema.HIGH, MELTS), (schema.HIGHHIGH, 10.0))


def cross(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    """Add the faults and warnings that only the whole shows."""
    _freezers(root, faults, warnings)
    hearing(root, faults, warnings)
    _brokers(root, faults)
    _radios(root, faults)
    _people(root, faults, warnings)
    _routes(root, faults)
    _names(root, faults)
    warnings += namesakes(root)
    _pages(root, faults, warnings)
    _neighbours(root, faults, warnings)
    if schema.CODES.name in (sign := root.group(schema.SIGN)).found and not sign.ids(schema.CODES):
        faults.append(fault(sign.at(schema.CODES), "is empty, so no answer would do", schema.CODES.allowed))


def limits_of(freezer: Checked) -> Limits:
    """Build a freezer's limits; raise ValueError if they contradict each other."""
    found = freezer.group(schema.LIMITS)
    slow = freezer.maybe(schema.KIND) is Kind.UPRIGHT_AUTO_DEFROST
    delay = found.maybe(schema.HIGHHIGH_ON_DELAY)
    if delay is None:
        delay = HIGHHIGH_WITH_DEFROST if slow else Limits().highhigh_on_delay
    high, warm = found.take(schema.HIGH), found.maybe(schema.WARM)
    return Limits(
        high=high,
        high_on_delay=found.take(schema.HIGH_ON_DELAY),
        highhigh=found.take(schema.HIGHHIGH),
        highhigh_on_delay=delay,
        deadband=found.take(schema.DEADBAND),
        off_delay=found.take(schema.OFF_DELAY),
        unwatched=found.take(schema.UNWATCHED),
        unwatched_high=found.take(schema.UNWATCHED_HIGH),
        rising_within=found.take(schema.RISING_WITHIN),
        too_cold=found.take(schema.TOO_COLD),
        too_cold_on_delay=found.take(schema.TOO_COLD_ON_DELAY),
        lid_open=found.take(schema.LID_OPEN),
        warm=min(Limits().warm, high) if warm is None else warm,
        warm_single=found.take(schema.WARM_SINGLE),
        warm_total=found.take(schema.WARM_TOTAL),
    )


def broker_port(broker: Checked) -> int:
    """Return a broker's port."""
    return broker.maybe(schema.PORT) or (TLS_PORT if broker.take(schema.TLS) else PLAIN_PORT)


def _freezers(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    sensors, within = entries(root, schema.SENSORS), members(root)
    units = root.group(schema.SITE).take(schema.UNITS)
    homes: dict[str, Spot] = {}
    if not entries(root, schema.FREEZERS):
        warnings.append("no freezer is declared, so there is nothing to watch")
    for freezer in entries(root, schema.FREEZERS).values():
        for wanted, spot in ids(freezer, schema.FREEZER_SENSORS):
            refer(wanted, spot, root, schema.SENSORS, faults)
            _at_home(wanted, spot, homes, faults)
    for id_, sensor in sensors.items():
        home, spot = sensor.maybe(schema.SENSOR_FREEZER), sensor.at(schema.SENSOR_FREEZER)
        if home is not None:
            refer(home, spot, root, schema.FREEZERS, faults)
            _at_home(id_, spot, homes, faults)
    for id_, freezer in entries(root, schema.FREEZERS).items():
        thermometers, others = split(root, within[id_])
        if not thermometers and schema.FREEZER_SENSORS.name not in freezer.broken:
            what = "no thermometer" if others else "no sensors"
            rest = f"has {what}, so it is not watched"
            warnings.append(_of("freezer", id_, freezer, schema.FREEZER_NAME, rest))
        probes = [sensors[wanted] for wanted in thermometers if wanted in sensors]
        _limits(id_, freezer, probes, units, faults, warnings)
    _places(sensors, homes, faults)
    rooms = warming(root, homes, faults, warnings)
    # one that sees the mains speaks for its place or for the whole house, and one in a room for the freezers there
    used = homes.keys() | rooms
    lonely = [id_ for id_, sensor in sensors.items() if id_ not in used and measured(sensor) is not Quantity.MAINS]
    rest = "is in no freezer, so it raises no alarm"
    warnings += [_of("sensor", id_, sensors[id_], schema.SENSOR_NAME, rest) for id_ in lonely]


def _of(what: str, id_: str, entry: Checked, name: Key[str], rest: str) -> Warned:
    """Return a warning of an entry: by its id for the file, by its name for the pages."""
    return Warned.of(f"{what} {id_} {rest}".strip(), f"{called(entry, id_, name)} {rest}")


def _places(sensors: dict[str, Checked], homes: dict[str, Spot], faults: list[Fault]) -> None:
    """A sensor in a freezer is where the freezer is; only the mains is looked at from elsewhere."""
    for id_, sensor in sensors.items():
        if not written(sensor, schema.SENSOR_PLACE.name) or schema.MEASURES.name in sensor.broken:
            continue
        problem = ""
        if measured(sensor) is not Quantity.MAINS:
            problem = "goes with measures: mains only; anything else is where its freezer is"
        elif id_ in homes:
            problem = "goes with a sensor of no freezer, and this one is in a freezer, which has a place of its own"
        if problem:
            shown = sensor.written(schema.SENSOR_PLACE)
            faults.append(fault(sensor.at(schema.SENSOR_PLACE), problem, "leave it off", shown))


def _at_home(sensor: str, spot: Spot, homes: dict[str, Spot], faults: list[Fault]) -> None:
    """Note where a sensor belongs; to say it twice is a fault."""
    if sensor in homes:
        said = f"sensor {sensor!r} is already in {homes[sensor].key}"
        if homes[sensor].key == f"{schema.SENSORS.name}.{sensor}.{schema.SENSOR_FREEZER.name}":
            said = f"sensor {sensor!r} names its freezer itself"
        faults.append(fault(spot, said, "one of the two", sensor))
    homes.setdefault(sensor, spot)


def _limits(
    id_: str,
    freezer: Checked,
    probes: list[Checked],
    units: TemperatureUnit,
    faults: list[Fault],
    warnings: list[str],
) -> None:
    found = freezer.group(schema.LIMITS)
    if found.broken or {schema.LIMITS.name, schema.KIND.name} & freezer.broken:
        return
    hot = [(key, most) for key, most in HOTTEST if (value := found.maybe(key)) is not None and value > most]
    for key, most in hot:
        bound = units.show(most, 0)
        problem = f"is warmer than {bound}: the food would be lost before anybody hears of it"
        allowed = f"a temperature of at most {bound}; is the minus sign missing?"
        faults.append(fault(found.at(key), problem, allowed, found.written(key)))
    if hot:
        return
    try:
        limits = limits_of(freezer)
    except ValueError as error:
        first = next(iter(found.found.values()), None)
        wrong = fault(Spot(found.spot.file, first.spot.line if first else 0, found.spot.key), str(error))
        faults.append(replace(wrong, words=contradiction(found, units)))
        return
    warnings += meant(id_, freezer, limits, units)
    if limits.warm > limits.high:
        problem = "is warmer than `high`, which raises an alarm by itself"
        shown = found.written(schema.WARM)
        wrong = fault(found.at(schema.WARM), problem, "a temperature not warmer than `high`", shown)
        words = f"{shown} is warmer than {label(schema.HIGH)} ({units.show(limits.high)}), which is an alarm by itself."
        faults.append(replace(wrong, words=words))
    known = [every for probe in probes if (every := pace(probe)) is not None]
    if known and len(known) == len(probes) and min(known) >= limits.unwatched:
        problem = (
            f"is {show_span(limits.unwatched)}, and its sensors report every {show_span(min(known))}: "
            "it would be unwatched between any two readings"
        )
        faults.append(fault(found.at(schema.UNWATCHED), problem, "a longer span"))


def _brokers(root: Checked, faults: list[Fault]) -> None:
    site = root.group(schema.SITE).maybe(schema.SITE_ID)
    clients: dict[tuple[str, int, str], str] = {}
    for id_, broker in entries(root, schema.BROKERS).items():
        host, tls = broker.maybe(schema.HOST), schema.TLS.name in broker.broken or broker.take(schema.TLS)
        user, password = broker.maybe(schema.USER), broker.maybe(schema.PASSWORD)
        if password and not tls and host is not None and not is_loopback(host):
            problem = f"would travel to {host} in the clear"
            faults.append(fault(broker.at(schema.PASSWORD), problem, "tls: yes beside it", HIDDEN))
        if password and not user and schema.USER.name not in broker.broken:
            # a password without a user name is forbidden in 3.1.1 [MQTT-3.1.2-22], to which we may fall back
            problem = "stands without a user, which MQTT 3.1.1 forbids"
            faults.append(fault(broker.at(schema.PASSWORD), problem, "user beside it", HIDDEN))
        if schema.CA.name in broker.found and not tls:
            faults.append(fault(broker.at(schema.CA), "has no use without tls", "tls: yes beside it"))
        client = broker.maybe(schema.CLIENT_ID) or (f"gatewayd-{site}" if site else None)
        if host is None or client is None or schema.TLS.name in broker.broken:
            continue
        seat = (host.lower(), broker_port(broker), client)
        if seat in clients:
            problem = f"is broker {clients[seat]} once more, with the same client_id: they would throw each other out"
            faults.append(fault(broker.spot, problem, "another host, port or client_id"))
        clients.setdefault(seat, id_)


def _radios(root: Checked, faults: list[Fault]) -> None:
    radios = entries(root, schema.RADIOS)
    adapters: dict[str, str] = {}
    for id_, radio in radios.items():
        if schema.ADAPTER.name in radio.broken:
            continue
        adapter, spot = radio.take(schema.ADAPTER), radio.at(schema.ADAPTER)
        if adapter == FIRST_ADAPTER and len(radios) > 1:
            problem = "does not say which adapter it is, and there are several radios"
            faults.append(fault(spot, problem, "the adapter's own Bluetooth address", radio.written(schema.ADAPTER)))
        elif adapter in adapters:
            # bluetoothd answers InProgress to a second scan of the same program on one adapter
            problem = f"is the adapter of radio {adapters[adapter]} already; one adapter, one radio"
            faults.append(fault(spot, problem, value=adapter))
        adapters.setdefault(adapter, id_)


def _names(root: Checked, faults: list[Fault]) -> None:
    """Find two things with one id: events, alarms and what is shelved are kept by id alone."""
    site = root.group(schema.SITE)
    site_id = site.maybe(schema.SITE_ID)
    first = {WIRED: "the probes wired to this computer"}
    if site_id is not None and first.setdefault(site_id, "the site") != "the site":
        faults.append(fault(site.at(schema.SITE_ID), f"is the id of {first[site_id]}", "another id", site_id))
    for section in (schema.FREEZERS, schema.SENSORS, schema.BROKERS, schema.RADIOS, schema.NEIGHBOURS):
        for id_, entry in entries(root, section).items():
            if id_ in first:
                problem = f"is also the id of {first[id_]}; events could not tell them apart"
                faults.append(fault(entry.spot, problem, "another id"))
            where = f"in {entry.spot.file.name}, line {entry.spot.line}"
            first.setdefault(id_, f"a {section.name.removesuffix('s')} {where}")


def _pages(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    if schema.PAGES.name not in root.groups:
        return
    pages = root.group(schema.PAGES)
    if written(pages, schema.PRIVATE_KEY.name) and not written(pages, schema.CERTIFICATE.name):
        problem = "stands without a certificate"
        faults.append(fault(pages.at(schema.PRIVATE_KEY), problem, "certificate beside it"))
    where = pages.maybe(schema.LISTEN)
    if where is not None and is_loopback(where[0]) and not written(pages, schema.PAGES_ADDRESS.name):
        warnings.append(
            f"the pages answer at {where[0]} only, which no phone can open; listen at the port alone ({where[1]}), or "
            "say in pages.address where a proxy shows them"
        )


def _neighbours(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    brokers, seats = entries(root, schema.BROKERS), dict[tuple[str, str], str]()
    for id_, neighbour in entries(root, schema.NEIGHBOURS).items():
        broker, topic = neighbour.maybe(schema.NEIGHBOUR_BROKER), neighbour.maybe(schema.NEIGHBOUR_TOPIC)
        keys: tuple[Key[str], Key[str]] = (schema.NEIGHBOUR_BROKER, schema.NEIGHBOUR_TOPIC)
        given = [key for key in keys if written(neighbour, key.name)]
        if len(given) == 1:
            lacks = next(key.name for key in keys if key not in given)
            shown = neighbour.written(given[0])
            faults.append(fault(neighbour.at(given[0]), f"stands without a {lacks}", f"{lacks} beside it", shown))
        if broker is not None:
            refer(broker, neighbour.at(schema.NEIGHBOUR_BROKER), root, schema.BROKERS, faults)
        if not given and not written(root, schema.PAGES.name):
            rest = "cannot be heard: there are no pages, and no broker is named"
            warnings.append(_of("neighbour", id_, neighbour, schema.NEIGHBOUR_NAME, rest))
        if broker is None or topic is None or broker not in brokers:
            continue
        spot, own = neighbour.at(schema.NEIGHBOUR_TOPIC), own_topic(root, brokers[broker])
        other = seats.setdefault((broker, topic), id_)
        if topic == own:
            faults.append(fault(spot, "is gatewayd's own topic at this broker", "the neighbour's topic", topic))
        elif other != id_:
            faults.append(fault(spot, f"is that of neighbour {other} already", "a topic of its own", topic))


def _people(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    told = False
    for id_, person in entries(root, schema.PEOPLE).items():
        seen: set[str] = set()
        for wanted, spot in ids(person, schema.TOLD_BY):
            refer(wanted, spot, root, schema.ROUTES, faults)
            if wanted in seen:
                faults.append(fault(spot, f"route {wanted!r} stands here twice", value=wanted))
            seen.add(wanted)
        if not seen and schema.TOLD_BY.name not in person.broken:
            name = called(person, id_, schema.PERSON_NAME)
            words = f"there is no way to reach {name}, so nothing is told to them"
            warnings.append(Warned.of(f"{id_} has no routes, so nothing is told to them", words))
        told = told or bool(seen) or schema.TOLD_BY.name in person.broken
    if not told:
        warnings.append("there is nobody to tell: alarms will only be kept in the log")


def _routes(root: Checked, faults: list[Fault]) -> None:
    for route in entries(root, schema.ROUTES).values():
        ways = [name for name in (schema.URL.name, schema.MAIL.name) if written(route, name)]
        if len(ways) != 1:
            problem = "has both url and mail" if ways else "has neither url nor mail"
            faults.append(fault(route.spot, problem, "one of the two; a second way is a second route"))
        mail = route.group(schema.MAIL)
        user, password = schema.MAIL_USER, schema.MAIL_PASSWORD
        pairs: list[tuple[Key[str], Key[str]]] = [(user, password), (password, user)]
        for has, lacks in pairs:
            given, other = mail.maybe(has), mail.maybe(lacks)
            if given and not other and lacks.name not in mail.broken:
                shown = HIDDEN if has.secret else mail.written(has)
                faults.append(fault(mail.at(has), f"stands without a {lacks.name}", f"{lacks.name} beside it", shown))


def trust(root: Checked, faults: list[Fault], look: Callable[[Checked, Key[str]], str | None]) -> None:
    """Check that each named certificate authority can be used; `look` says what is wrong with one, or None."""
    places: list[tuple[Checked, Key[str]]] = [(broker, schema.CA) for broker in entries(root, schema.BROKERS).values()]
    places += [(route, schema.ROUTE_CA) for route in entries(root, schema.ROUTES).values()]
    for entry, key in places:
        problem = look(entry, key)
        if problem:
            faults.append(fault(entry.at(key), problem, "a PEM file that gatewayd may read", entry.written(key)))
