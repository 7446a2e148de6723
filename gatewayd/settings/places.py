"""Places: where settings are looked for and where the state is kept (XDG Base Directory Specification 0.8)."""

import os
import pwd
import zoneinfo
from collections.abc import Mapping, Sequence
from datetime import UTC, tzinfo
from pathlib import Path

NAME = "gatewayd.yaml"
SYSTEM = Path("/etc/gatewayd") / NAME
LOCALTIME = Path("/etc/localtime")
HOUSE_FILE = "house.yaml"
DOOR = "door.sock"
STORE = "house.db"
SERVICE_STATE, SERVICE_RUN = "/var/lib/gatewayd", "/run/gatewayd"  # as systemd/gatewayd.service names them
SOCKET_BYTES = 107  # sun_path holds 108 with its closing NUL (unix(7))


def candidates(env: Mapping[str, str]) -> tuple[Path, ...]:
    """Return the places where settings are looked for, first the keeper's own."""
    folders = [_folder(env, "XDG_CONFIG_HOME", ".config")]
    folders += _absolute(env.get("XDG_CONFIG_DIRS") or "/etc/xdg")
    return (*(folder / "gatewayd" / NAME for folder in folders), SYSTEM)


def find(explicit: Path | None, env: Mapping[str, str]) -> tuple[Path, ...]:
    """Return the settings file to load: the one asked for, else the first that exists, else none."""
    if explicit is not None:
        return (explicit,)
    # lexists: a link that leads nowhere is the keeper's file all the same, and load says what is wrong with it
    return next(((path,) for path in candidates(env) if os.path.lexists(path)), ())


def state_dir(env: Mapping[str, str]) -> Path:
    """Return the folder of the database and house.yaml; it need not exist yet."""
    given = _absolute(env.get("STATE_DIRECTORY", ""))  # systemd may list several, split by colons (systemd.exec(5))
    return given[0] if given else _folder(env, "XDG_STATE_HOME", ".local/state") / "gatewayd"


def as_service(files: Sequence[Path], env: Mapping[str, str]) -> Mapping[str, str]:
    """Return the environment in which a command finds the service's folders.

    The service manager tells them to the service alone; a person at a terminal who uses the system's settings means
    that same house.
    """
    if SYSTEM not in files or env.get("STATE_DIRECTORY"):
        return env
    return {**env, "STATE_DIRECTORY": SERVICE_STATE, "RUNTIME_DIRECTORY": env.get("RUNTIME_DIRECTORY") or SERVICE_RUN}


def socket(env: Mapping[str, str], state: Path) -> Path:
    """Return where the commands reach the daemon: the service's run folder, else the state folder."""
    given = _absolute(env.get("RUNTIME_DIRECTORY", ""))
    return (given[0] if given else state) / DOOR


def home(env: Mapping[str, str]) -> Path:
    """Return the home folder: $HOME, else the one in the user database (a service may have no $HOME)."""
    given = env.get("HOME", "")
    return Path(given) if given.startswith("/") else Path(pwd.getpwuid(os.geteuid()).pw_dir)


def local_zone(localtime: Path = LOCALTIME) -> tuple[tzinfo, str]:
    """Return the computer's own time zone and a warning, empty if all is well.

    /etc/localtime is a link into the zone files (localtime(5)) whose end is the zone's name; where it is a plain
    file its rules are read. Without either it is UTC, and the warning says so.
    """
    try:
        name = os.path.realpath(localtime).rpartition("zoneinfo/")[2]
        if name and not name.startswith("/"):
            return zoneinfo.ZoneInfo(name), ""
        with localtime.open("rb") as file:
            return zoneinfo.ZoneInfo.from_file(file, key="local time"), ""
    except (OSError, ValueError, zoneinfo.ZoneInfoNotFoundError):
        return UTC, (
            f"the computer's time zone is not known ({localtime} cannot be read), so times are in UTC; "
            "set site.time_zone"
        )


def _folder(env: Mapping[str, str], variable: str, otherwise: str) -> Path:
    given = env.get(variable, "")
    # "All paths set in these environment variables must be absolute", else they are ignored (section 2)
    return Path(given) if given.startswith("/") else home(env) / otherwise


def _absolute(listed: str) -> list[Path]:
    return [Path(part) for part in listed.split(":") if part.startswith("/")]
