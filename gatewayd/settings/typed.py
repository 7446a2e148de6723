"""Typed settings: what the parts of the daemon are built from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, TypeAlias

from gatewayd.model.house import House
from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.route import Route, Secret

PLAIN_PORT, TLS_PORT = 1883, 8883  # IANA: mqtt, secure-mqtt


@dataclass(frozen=True, slots=True)
class Broker:
    """Describe one MQTT broker and how gatewayd stands towards it.

    `session_keep` and `keepalive` are in ms. `window` is how many unacknowledged messages the broker lets fly:
    20 is what mosquitto sends at most unless told otherwise (mosquitto.conf(5), max_inflight_messages).
    """

    id: str
    name: str
    host: str
    client_id: str
    own_topic: str
    port: int = PLAIN_PORT
    tls: bool = False
    ca: str | None = None
    user: str = field(default="", repr=False)  # may come from a secret: some brokers take a token here
    password: Secret = field(default_factory=lambda: Secret(""))
    window: int = 20
    session_keep: int = 7 * DAY
    keepalive: int = 30 * SECOND


Mode: TypeAlias = Literal["active", "passive"]
FIRST_ADAPTER = "first"  # as an adapter: whichever the computer has; enough where there is one


@dataclass(frozen=True, slots=True)
class Radio:
    """Describe one Bluetooth adapter and how it listens.

    `adapter` is its own address in upper case with colons, or FIRST_ADAPTER: names like hci0 change from one start
    to the next. `mode` "active" asks each device for its second advertisement, where some keep their name or value;
    "passive" only listens.
    """

    id: str
    name: str
    adapter: str = FIRST_ADAPTER
    mode: Mode = "active"


@dataclass(frozen=True, slots=True)
class Storing:
    """Say what is kept and for how long; spans in ms.

    `keep_raw` 0 keeps single readings for ever. `nightly_copy_at` is in minutes after local midnight.
    """

    path: Path
    keep_every: int = MINUTE
    commit_every: int = 30 * SECOND
    keep_raw: int = 400 * DAY
    nightly_copy_at: int = 3 * 60 + 30
    copies: int = 7


Method: TypeAlias = Literal["GET", "POST"]


@dataclass(frozen=True, slots=True)
class Pages:
    """Say where the house's pages answer: `host` and `port` to listen at.

    `address` is the beginning of the links in messages (`http://garage.vpn.example:8470`), empty where the keeper
    named none: then they lead to this computer and work at home only. `certificate` and `private_key` are files with
    which the pages are encrypted. `proxy` is the address of a proxy before them, whose word counts on who asks.
    """

    host: str
    port: int
    address: str = ""
    certificate: str | None = None
    private_key: str | None = None
    proxy: str = ""


@dataclass(frozen=True, slots=True)
class SignOfLife:
    """Describe the request that tells somebody outside that the watcher is awake; `every` in ms.

    It has succeeded when the answer's status is one of `codes` and, unless `text` is empty, `text` stands in it.
    """

    url: Secret
    method: Method = "GET"
    every: int = 5 * MINUTE
    codes: tuple[int, ...] = (200, 201, 202, 204)
    text: str = ""


@dataclass(frozen=True, slots=True)
class Settings:
    """Hold all settings of one load.

    `files` are those that were read. `house_file` is the one that gatewayd writes itself; it need not exist.
    `warnings` are sentences about what is allowed but surely not meant. Routes are left out of the repr: a mail user
    may be secret. `keys` holds, by sensor id, the key of each sensor that seals what it says: 16 bytes as 32 hex
    digits in lower case. `tokens` holds, by neighbour id, the word by which each proves who it is.
    """

    house: House
    brokers: Mapping[str, Broker]
    storing: Storing
    socket: Path
    files: tuple[Path, ...]
    house_file: Path
    routes: Mapping[str, Route] = field(default_factory=dict, repr=False)
    warnings: tuple[str, ...] = ()
    radios: Mapping[str, Radio] = field(default_factory=dict)
    keys: Mapping[str, Secret] = field(default_factory=dict, repr=False)
    pages: Pages | None = None
    sign_of_life: SignOfLife | None = None
    tokens: Mapping[str, Secret] = field(default_factory=dict, repr=False)
