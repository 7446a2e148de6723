"""The schema: every setting, declared once, with its reader, its default and a line about it.

A new setting is added here, carried over in build.py, and shown in config/example.yaml (a test asks for it).
"""

from gatewayd.alarm import kinds
from gatewayd.model import contents
from gatewayd.settings import device, hours, outside, readers
from gatewayd.settings.keys import Group, Hold, Key, ListKey

NAMED = "the id, with spaces for its hyphens"
ONE_OF_THREE = "one of broker, radio and file"

SITE_ID = Key("id", readers.identity, "Names this house for ever, in events and at the broker.", required=True)
SITE_NAME = Key("name", readers.name, "What messages call the house.", otherwise=NAMED)
TIME_ZONE = Key("time_zone", readers.zone, "The zone of the times you read.", otherwise="the computer's own")
UNITS = Key("units", readers.scale, "The scale of the temperatures you read.", "°C")
SITE = Group("site", "The house.", (SITE_ID, SITE_NAME, TIME_ZONE, UNITS), required=True)

HIGH = Key("high", readers.temperature, "Warmer than this for high_on_delay raises an alarm.", "-12 °C")
HIGH_ON_DELAY = Key("high_on_delay", readers.on_delay, "How long it must be warmer than `high`.", "45 min")
HIGHHIGH = Key("highhigh", readers.temperature, "Warmer than this for highhigh_on_delay is urgent.", "20 °F")
HIGHHIGH_ON_DELAY = Key(
    "highhigh_on_delay",
    readers.on_delay,
    "How long it must be warmer than `highhigh`.",
    otherwise="30 min, or 60 min with automatic defrost",
)
DEADBAND = Key("deadband", readers.difference, "How far below its limit an alarm ends.", "1 °C")
OFF_DELAY = Key("off_delay", readers.on_delay, "How long it must be that cold before it is over.", "10 min")
UNWATCHED = Key("unwatched", readers.dark_span, "No good reading for so long raises an alarm.", "60 min")
UNWATCHED_HIGH = Key("unwatched_high", readers.dark_span, "No good reading for so long is urgent.", "4 h")
RISING_WITHIN = Key(
    "rising_within",
    readers.on_delay_or_off,
    "A freezer that warms steadily and would reach `high` within so long raises an alarm.",
    "6 h",
)
TOO_COLD = Key("too_cold", readers.difference_or_off, "So far below its habit raises an alarm.", "8 °C")
TOO_COLD_ON_DELAY = Key("too_cold_on_delay", readers.on_delay, "How long it must be that cold.", "2 h")
LID_OPEN = Key("lid_open", readers.on_delay_or_off, "A lid that is open for so long raises an alarm.", "5 min")
WARM = Key(
    "warm", readers.temperature, "Warmer than this shortens the food's keeping; `high` if that is colder.", "-15 °C"
)
WARM_SINGLE = Key(
    "warm_single", readers.on_delay_or_off, "So long at a time warmer than `warm` raises an alarm.", "6 h"
)
WARM_TOTAL = Key(
    "warm_total", readers.on_delay_or_off, "So long in one day warmer than `warm` raises an alarm.", "10 h"
)
LIMITS = Group(
    "limits",
    "When its alarms begin and end.",
    (
        HIGH,
        HIGH_ON_DELAY,
        HIGHHIGH,
        HIGHHIGH_ON_DELAY,
        DEADBAND,
        OFF_DELAY,
        UNWATCHED,
        UNWATCHED_HIGH,
        RISING_WITHIN,
        TOO_COLD,
        TOO_COLD_ON_DELAY,
        LID_OPEN,
        WARM,
        WARM_SINGLE,
        WARM_TOTAL,
    ),
)
ALWAYS_LOUD = (kinds.HIGH, kinds.HIGHHIGH, kinds.UNWATCHED)
ALARM_KEYS = tuple(
    Key(
        kind.name,
        readers.loud_level if kind in ALWAYS_LOUD else readers.level,
        "How much this alarm matters at this freezer.",
        kind.priority.word,
    )
    for kind in kinds.OF_FREEZER
)
ALARMS = Group("alarms", "How much each kind of alarm matters at this freezer.", ALARM_KEYS)

FREEZER_NAME = Key("name", readers.name, "What messages call it.", otherwise=NAMED)
KIND = Key("kind", readers.kind, "How it is built.", "chest")
VOLUME = Key("volume", readers.volume, "Its net volume.", otherwise="not known")
PLACE = Key("place", readers.name, "Where it stands, for whoever must go and look.", otherwise="not said")
FREEZER_SENSORS = ListKey("sensors", readers.identity, "The sensors in it; the warmest one counts.")
ROOM = Key("room", readers.identity, "The thermometer that stands in its room.", otherwise="none stands there")
ROOM_ABOUT = Key(
    "room_about", readers.room, "How warm its room is, where no thermometer says so.", otherwise="not known"
)
_FOOD = {
    contents.Group.MEAT: "Meat, fish and poultry in it.",
    contents.Group.PRODUCE: "Vegetables and fruit in it.",
    contents.Group.BREAD: "Bread, cake, dough and flour in it.",
    contents.Group.MEALS: "Cooked dishes, soups, milk and ice cream in it.",
    contents.Group.WATER: "Bottles of water and cold packs in it.",
}
CONTENTS_KEYS = {
    group: Key(group.value, readers.weight, about, otherwise="none; without any, a half-full freezer is guessed")
    for group, about in _FOOD.items()
}
CONTENTS = Group("contents", "What it holds, roughly, by weight.", tuple(CONTENTS_KEYS.values()))
FREEZERS = Group(
    "freezers",
    "The freezers.",
    (FREEZER_NAME, KIND, VOLUME, PLACE, FREEZER_SENSORS, ROOM, ROOM_ABOUT),
    (CONTENTS, LIMITS, ALARMS),
    by_id=True,
    joined=True,
)

SENSOR_NAME = Key("name", readers.name, "What messages call it.", otherwise=NAMED)
SENSOR_FREEZER = Key(
    "freezer", readers.identity, "The freezer it is in, if that does not list it itself.", otherwise="as freezers say"
)
MEASURES = Key("measures", readers.measures, "What it is there for.", "temperature")
SENSOR_PLACE = Key(
    "place", readers.name, "Where a sensor of the mains stands that is in no freezer.", otherwise="the whole house"
)
SENSOR_BROKER = Key("broker", readers.identity, "The broker that passes it on.", otherwise=ONE_OF_THREE)
TOPIC = Key("topic", readers.sensor_topic, "The topic in which it reports.", otherwise="needed with broker")
PAYLOAD = Key("payload", readers.form, "How its messages are written.", "number")
VALUE = Key(
    "value",
    readers.pointer,
    "Where in the JSON the temperature, or what it measures, is.",
    otherwise="needed with json",
)
BATTERY = Key("battery", readers.pointer, "Where in the JSON the battery's percentage is.", otherwise="not read")
TIME = Key("time", readers.pointer, "Where in the JSON the time of measuring is.", otherwise="time of arrival")
UNIT = Key("unit", readers.payload_unit, "The unit in which it sends a temperature.", "°C")
SENSOR_RADIO = Key("radio", readers.identity, "The radio that hears it.", otherwise=ONE_OF_THREE)
ADDRESS = Key("address", device.address, "Its Bluetooth address.", otherwise="needed with radio")
FORMAT = Key(
    "format",
    device.form,
    "How it writes what it says.",
    otherwise="needed with radio; with file 1-wire for a w1_slave, else hwmon",
)
KEY = Key("key", device.key, "What opens its sealed values.", otherwise="it does not seal them", hold=Hold.SECRET)
WHICH = Key("which", device.which, "Which of its temperatures, if it has several.", "1")
READ_EVERY = Key("read_every", device.read_every, "How often it is connected to and read.", "10 min")
FILE = Key("file", device.file, "The kernel's file of a probe at this computer.", otherwise=ONE_OF_THREE)
REPORTS_EVERY = Key("reports_every", readers.interval, "How often it reports.", otherwise="learnt")

SERVICE = Key("service", device.service, "The service whose data it is.", otherwise="either service or maker")
MAKER = Key("maker", device.maker, "The company whose data it is.", otherwise="either service or maker")
LEAST = Key("least", device.least, "How many bytes there must be.", otherwise="up to the end of the value")
OFFSET = Key("offset", device.offset, "How many bytes stand before the value.", "0")
WIDTH = Key("width", device.width, "How many bytes the value has.", "2")
SIGNED = Key("signed", readers.yes_no, "Whether the value can be below zero as it is sent.", "yes")
ORDER = Key("order", device.order, "Whether the lowest byte comes first (little) or last (big).", "little")
FACTOR = Key("factor", device.factor, "What the value is multiplied by.", "1")
ADDEND = Key("addend", device.addend, "What is then added to make it °C.", "0")
UNKNOWN = ListKey(
    "unknown",
    device.raw,
    "Values by which it says that it knows none.",
    "a list of whole numbers in [ ], like [0x8000, -1]",
)
LOWEST = Key("lowest", readers.temperature, "Colder than this cannot be true.", "-50 °C")
HIGHEST = Key("highest", readers.temperature, "Warmer than this cannot be true.", "60 °C")
BYTES = Group(
    "bytes",
    "Where the value lies, for the format bytes.",
    (SERVICE, MAKER, LEAST, OFFSET, WIDTH, SIGNED, ORDER, FACTOR, ADDEND, UNKNOWN, LOWEST, HIGHEST),
)
SENSORS = Group(
    "sensors",
    "The sensors, and how they are heard.",
    (
        SENSOR_NAME,
        SENSOR_FREEZER,
        MEASURES,
        SENSOR_PLACE,
        SENSOR_BROKER,
        TOPIC,
        PAYLOAD,
        VALUE,
        BATTERY,
        TIME,
        UNIT,
        SENSOR_RADIO,
        ADDRESS,
        FORMAT,
        KEY,
        WHICH,
        READ_EVERY,
        FILE,
        REPORTS_EVERY,
    ),
    (BYTES,),
    by_id=True,
    joined=True,
)

RADIO_NAME = Key("name", readers.name, "What messages call it.", otherwise=NAMED)
ADAPTER = Key("adapter", device.adapter, "Which Bluetooth adapter it is.", "first")
MODE = Key("mode", device.mode, "Whether it also asks, or only listens.", "active")
RADIOS = Group("radios", "The Bluetooth adapters of this computer.", (RADIO_NAME, ADAPTER, MODE), by_id=True)

BROKER_NAME = Key("name", readers.name, "What messages call it.", otherwise=NAMED)
HOST = Key("host", readers.host, "The computer it runs on.", required=True)
PORT = Key("port", readers.port, "Its port.", otherwise="1883, or 8883 with tls")
TLS = Key("tls", readers.yes_no, "Whether the connection is encrypted and the broker proves who it is.", "no")
CA = Key("ca", readers.path, "The certificate authority to trust (PEM).", otherwise="those of the computer")
USER = Key("user", readers.user, "The user to log in as.", "", "nobody", hold=Hold.FILLED)
PASSWORD = Key("password", readers.password, "Its password.", "", "none", hold=Hold.SECRET)
CLIENT_ID = Key(
    "client_id", readers.client_id, "The name by which the broker keeps messages.", otherwise="gatewayd-<site id>"
)
OWN_TOPIC = Key("own_topic", readers.own_topic, "Where gatewayd says whether it is up.", otherwise="gatewayd/<site id>")
WINDOW = Key("window", readers.window, "How many messages it sends ahead of the acknowledgement.", "20")
SESSION_KEEP = Key("session_keep", readers.session, "How long it keeps messages while gatewayd is away.", "7 days")
KEEPALIVE = Key("keepalive", readers.keepalive, "How often a quiet connection is tried.", "30 s")
BROKERS = Group(
    "brokers",
    "The MQTT brokers.",
    (
        BROKER_NAME,
        HOST,
        PORT,
        TLS,
        CA,
        USER,
        PASSWORD,
        CLIENT_ID,
        OWN_TOPIC,
        WINDOW,
        SESSION_KEEP,
        KEEPALIVE,
    ),
    by_id=True,
)

PERSON_NAME = Key("name", readers.name, "What messages call them.", otherwise=NAMED)
TOLD_BY = ListKey("told_by", readers.identity, "The routes to them, in the order in which they are tried.")
TOLD_FROM = Key("told_from", readers.priority, "From which priority on they are told.", "medium")
QUIET_HOURS = Key(
    "quiet_hours", hours.quiet, "In these hours only high alarms are told.", otherwise="told at all hours"
)
PEOPLE = Group(
    "people",
    "Who is told, in this order.",
    (PERSON_NAME, TOLD_BY, TOLD_FROM, QUIET_HOURS),
    by_id=True,
    joined=True,
)

JOIN_WITHIN = Key("join_within", readers.join, "What happens within so long is one message.", "1 min")
NEXT_AFTER = Key("next_after", readers.next_after, "After so long without an answer the next person is told.", "15 min")
AGAIN_HIGH = Key("again_high", readers.again, "How often a high alarm that stands is told again.", "1 h")
AGAIN_MEDIUM = Key("again_medium", readers.again, "How often a medium alarm that stands is told again.", "4 h")
NOTE = Key("note", hours.weekly, "When the note of the week goes out.", "Sunday 18:00")
TEST = Key("test", hours.weekly, "When, in the first week of a month, the test alarm asks for a tap.", "Saturday 11:00")
TELLING = Group(
    "telling",
    "How the household is told.",
    (JOIN_WITHIN, NEXT_AFTER, AGAIN_HIGH, AGAIN_MEDIUM, NOTE, TEST),
)

URL = Key("url", readers.url, "A service and one recipient.", otherwise="either url or mail", hold=Hold.SECRET_URL)
ROUTE_CA = Key("ca", readers.path, "The certificate authority to trust (PEM).", otherwise="those of the computer")
MAIL_HOST = Key("host", readers.host, "The mail server.", required=True)
MAIL_PORT = Key("port", readers.port, "Its port.", otherwise="465, or 587 with starttls")
# RFC 8314, section 3.3 prefers TLS from the first byte
SECURITY = Key("security", readers.security, "Encrypted from the start, or after STARTTLS.", "tls")
MAIL_USER = Key("user", readers.user, "The user to log in as.", "", "nobody", hold=Hold.FILLED)
MAIL_PASSWORD = Key("password", readers.password, "Its password.", "", "none", hold=Hold.SECRET)
FROM = Key("from", readers.mail_address, "The address it comes from.", required=True)
TO = Key("to", readers.mail_address, "The address it goes to.", required=True)
MAIL = Group(
    "mail",
    "Plain mail, which needs no other program.",
    (MAIL_HOST, MAIL_PORT, SECURITY, MAIL_USER, MAIL_PASSWORD, FROM, TO),
)
ROUTES = Group(
    "routes", "The ways out of the house, each either `url` or `mail`.", (URL, ROUTE_CA), (MAIL,), by_id=True
)

LISTEN = Key("listen", outside.listen, "Where the pages answer.", required=True)
PAGES_ADDRESS = Key(
    "address", outside.address, "How the links in messages begin.", otherwise="this computer, which works at home only"
)
CERTIFICATE = Key("certificate", readers.path, "The certificate of the pages (PEM).", otherwise="not encrypted")
PRIVATE_KEY = Key("private_key", readers.path, "Its private key (PEM).", otherwise="in the certificate's file")
PROXY = Key("proxy", outside.proxy, "A proxy whose word on who asks is believed.", otherwise="none")
PAGES = Group(
    "pages",
    "The house's own pages; without this section there are none.",
    (LISTEN, PAGES_ADDRESS, CERTIFICATE, PRIVATE_KEY, PROXY),
)

SIGN_URL = Key("url", outside.sign_url, "What is asked for.", required=True, hold=Hold.SECRET_URL)
METHOD = Key("method", outside.method, "How it is asked for.", "GET")
EVERY = Key("every", outside.sign_every, "How often.", "5 min")
CODES = ListKey(
    "codes",
    outside.code,
    "The answers that mean it was heard.",
    "a list of HTTP status codes in [ ], like [200, 204]",
    "[200, 201, 202, 204]",
)
TEXT = Key("text", readers.name, "What must also stand in the answer.", otherwise="anything will do")
SIGN = Group(
    "sign_of_life", "Tells somebody outside that the watcher is awake.", (SIGN_URL, METHOD, EVERY, CODES, TEXT)
)

NEIGHBOUR_NAME = Key("name", readers.name, "What messages call them.", otherwise=NAMED)
TOKEN = Key("token", outside.token, "The word by which it proves who it is.", required=True, hold=Hold.SECRET)
SILENT_AFTER = Key("silent_after", outside.silent_after, "No sign of life for so long raises an alarm.", "30 min")
NEIGHBOUR_BROKER = Key(
    "broker", readers.identity, "A broker at which it says whether it is up.", otherwise="it gives signs of life only"
)
NEIGHBOUR_TOPIC = Key("topic", readers.sensor_topic, "The topic in which it says so.", otherwise="needed with broker")
NEIGHBOURS = Group(
    "neighbours",
    "Other households' gateways that give signs of life to this one.",
    (NEIGHBOUR_NAME, TOKEN, SILENT_AFTER, NEIGHBOUR_BROKER, NEIGHBOUR_TOPIC),
    by_id=True,
)

STORE_PATH = Key("path", readers.path, "The database.", otherwise="house.db in the state folder")
KEEP_EVERY = Key("keep_every", readers.keep_every, "At most one reading of a sensor is kept in this span.", "60 s")
COMMIT_EVERY = Key("commit_every", readers.commit_every, "How often it is written to the disk.", "30 s")
KEEP_RAW = Key("keep_raw", readers.keep_raw, "How long single readings are kept; sums stay for ever.", "400 days")
NIGHTLY_COPY_AT = Key("nightly_copy_at", readers.clock_time, "When the nightly copy is made.", "03:30")
COPIES = Key("copies", readers.copies, "How many nightly copies are kept; 0 makes none.", "7")
STORE = Group(
    "store",
    "What is kept, and for how long.",
    (STORE_PATH, KEEP_EVERY, COMMIT_EVERY, KEEP_RAW, NIGHTLY_COPY_AT, COPIES),
)

SECRETS = Key("secrets", readers.path, "A private file with NAME=value lines for ${NAME}.", otherwise="no such file")
SOCKET = Key("socket", readers.path, "Where the commands reach gatewayd.", otherwise="door.sock in the run folder")
ROOT = Group(
    "",
    "All settings.",
    (SECRETS, SOCKET),
    (SITE, FREEZERS, SENSORS, BROKERS, RADIOS, PEOPLE, TELLING, ROUTES, PAGES, SIGN, NEIGHBOURS, STORE),
)
