"""The two files in config/: they load, and the example shows every setting with a comment."""

import re
from pathlib import Path

import pytest

from gatewayd.settings import schema
from gatewayd.settings.explain import rows, text
from gatewayd.settings.keys import Group, walk
from gatewayd.settings.load import load
from gatewayd.settings.tree import Branch, Node, parse
from gatewayd.settings.typed import Settings

CONFIG = Path(__file__).parent.parent.parent / "config"
ENV = {
    "HOME": "/",
    "MAIL_PASSWORD": "trout",
    "BROKER_PASSWORD": "plums",
    "CHAT_PASSWORD": "beans",
    "LIFE_WORD": "venison",
    "ELM_ROAD_WORD": "0123456789abcdef",
    "PLUMS_KEY": "0f" * 16,
}
OFF = re.compile(r"^( *)#(?=[a-z_]+: )", re.MULTILINE)  # a setting that is switched off: no space after the #
EXAMPLE = (CONFIG / "example.yaml").read_text()


def load_file(path: Path, state_dir: Path) -> Settings:
    """Load one file with the secrets of Heron Lane in the environment."""
    return load([path], env=ENV, state_dir=state_dir)


@pytest.mark.parametrize("name", ["example.yaml", "one-freezer.yaml"])
def test_config_file_loads(name: str, tmp_path: Path) -> None:
    """Each file in config/ loads with no fault and no warning."""
    assert load_file(CONFIG / name, tmp_path).warnings == ()


def test_small_file_is_small() -> None:
    """The one-freezer file has at most 25 lines."""
    assert len((CONFIG / "one-freezer.yaml").read_text().splitlines()) <= 25


def test_switched_off_settings_are_right(tmp_path: Path) -> None:
    """With every switched-off line of the example switched on, in place of its alternative, it still loads."""
    (tmp_path / "house-ca.pem").write_text("-----BEGIN CERTIFICATE-----\n")
    (tmp_path / "secrets.env").write_text("MAIL_PASSWORD=trout\n")
    (tmp_path / "secrets.env").chmod(0o600)
    path = tmp_path / "all.yaml"
    path.write_text(OFF.sub(r"\1", EXAMPLE.replace("maker: 0xFFFF", "")))
    settings = load_file(path, tmp_path)

    assert settings.brokers["house"].ca == str(tmp_path / "house-ca.pem")
    assert settings.socket == Path("/run/gatewayd/door.sock")


def lines_of(node: Node, group: Group, path: str = "") -> dict[str, list[int]]:
    """Return on which lines each setting of the schema stands in a tree."""
    found: dict[str, list[int]] = {}
    assert isinstance(node, Branch)
    inner = {group.name: group for group in group.groups}
    for key, line, value in node.entries:
        found.setdefault(path + key, []).append(line)
        if key not in inner:
            continue
        below = inner[key]
        assert isinstance(value, Branch)
        entries = [entry for _, _, entry in value.entries] if below.by_id else [value]
        plain = Group("", "", below.keys, below.groups)
        for entry in entries:
            for name, lines in lines_of(entry, plain, path + key + (".<id>." if below.by_id else ".")).items():
                found.setdefault(name, []).extend(lines)
    return found


def test_every_setting_is_in_the_example() -> None:
    """Each declared setting stands in the example, with a comment on its line or on the line above."""
    tree = parse(OFF.sub(r"\1", EXAMPLE).encode(), CONFIG / "example.yaml", [])
    assert tree is not None
    lines, found = EXAMPLE.splitlines(), lines_of(tree, schema.ROOT)

    def told(line: int) -> bool:
        return " # " in lines[line - 1] or lines[line - 2].lstrip().startswith("# ")

    settings = [path for path, key in walk(schema.ROOT) if not isinstance(key, Group)]
    assert [path for path in settings if not any(told(line) for line in found.get(path, ()))] == []


def test_example_shows_the_defaults(tmp_path: Path) -> None:
    """The limits and intervals that the example calls defaults are the defaults."""
    example = load_file(CONFIG / "example.yaml", tmp_path)
    small = load_file(CONFIG / "one-freezer.yaml", tmp_path)

    assert example.house.freezers["shed-chest"].limits == small.house.freezers["shed-chest"].limits
    assert example.storing == small.storing


def test_every_setting_is_explained() -> None:
    """The explanation names each setting once, with what is allowed and its default."""
    settings = [path for path, key in walk(schema.ROOT) if not isinstance(key, Group)]

    assert [row.key for row in rows()] == settings
    assert all(row.about and row.allowed and row.default for row in rows())
    assert "freezers.<id>.limits.high\n    Warmer than this" in text()
