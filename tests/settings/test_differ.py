"""What two versions of house.yaml say otherwise: in sentences, without a secret."""

from pathlib import Path

import pytest

from gatewayd.settings.differ import MOST, differences, touched
from gatewayd.settings.document import Document, holds_secret, plain
from gatewayd.settings.reasons import REASONS
from gatewayd.settings.standing import standing

OLD: Document = {
    "freezers": {"shed": {"limits": {"high": "-12 °C"}}},
    "people": {"ann": {"name": "Ann"}, "ben": {"name": "Ben"}},
    "routes": {"ann-mail": {"mail": {"to": "a@x.test", "password": "kestrel"}}},
}


@pytest.mark.parametrize(
    ("new", "said"),
    [
        (OLD, []),
        (
            OLD | {"freezers": {"shed": {"limits": {"high": "-15 °C"}}}},
            ["Too warm above (shed) is -15 °C; it was -12 °C."],
        ),
        (OLD | {"freezers": {"shed": {}}}, ["Too warm above (shed) is no longer set; it was -12 °C."]),
        (OLD | {"routes": {}}, ["The way ann-mail is gone."]),
        (
            OLD | {"routes": {"ann-mail": {"mail": {"to": "a@x.test", "password": "plover"}}}},
            ["The password of the way ann-mail is another."],
        ),
        (OLD | {"people": {"ben": {"name": "Ben"}, "ann": {"name": "Ann"}}}, ["The order of people is Ben, Ann."]),
        (
            OLD | {"people": {"ann": {"name": "Ann"}, "ben": {"name": "Ben", "told_by": ["ann-mail"]}}},
            ["The list of ways to Ben is ann-mail; it was not set."],
        ),
        (
            OLD | {"sensors": {"p": {"name": "$${HOME} probe", "broker": "home", "topic": "p"}}},
            ["The sensor ${HOME} probe is new."],
        ),
        (OLD | {"site": {"name": "$${HOME}"}}, ["What the house is called is ${HOME}; it was not set."]),
        (OLD | {"site": {"units": "°F"}}, ["Temperatures in is °F; it was not set."]),
    ],
)
def test_each_change_is_a_sentence(new: Document, said: list[str]) -> None:
    """Each setting that is otherwise is said once, with what it was; a secret is never said."""
    assert differences(OLD, new) == said


def test_names_that_other_files_give() -> None:
    """An entry whose name stands in the keeper's own file is called by it."""
    new = OLD | {"freezers": {"shed": {"limits": {"high": "-15 °C"}}}}

    assert differences(OLD, new, {"freezers.shed": "Shed chest"}) == [
        "Too warm above (Shed chest) is -15 °C; it was -12 °C."
    ]


def test_what_was_touched() -> None:
    """Each setting that is otherwise is known by its path with what stands there then."""
    new: Document = {"freezers": {"shed": {"limits": {"high": "-15 °C"}}}, "people": OLD["people"]}

    assert touched(OLD, new) == {
        "freezers.shed.limits.high": "-15 °C",
        "routes.ann-mail.mail.to": "",
        "routes.ann-mail.mail.password": "",
    }


def test_many_changes_are_cut_short() -> None:
    """A change by hand may be anything; so many sentences are said and the others counted."""
    many: Document = {"freezers": {f"f{n}": {"name": f"F {n}"} for n in range(MOST + 3)}}

    assert differences({}, many)[-1] == "And 3 more."


def test_secret_with_an_escaped_sign_is_a_secret() -> None:
    """A password that only looks as if it came from elsewhere makes the file private all the same."""
    assert holds_secret({"brokers": {"home": {"password": plain("a${b}c")}}})


def test_standing_names_file_and_line(tmp_path: Path) -> None:
    """Each setting is found with its file and line, secrets hidden, and a broken file is a fault beside the rest."""
    own, house = tmp_path / "gatewayd.yaml", tmp_path / "house.yaml"
    own.write_text(
        "site: {id: lane}\nfreezers:\n  shed:\n    limits:\n      high: -14 °C\nbrokers: {b: {password: kestrel}}\n"
    )
    house.write_text("freezers:\n  shed:\n    name: Shed\n")
    found = standing([own], house)
    house.write_text("freezers: [\n")
    broken = standing([own], house)

    high, name = found.own("freezers.shed.limits.high"), found.at["freezers.shed.name"]
    assert high is not None
    assert (high.file, high.line, high.text) == (own, 5, "-14 °C")
    assert (name.file, name.line, found.own("freezers.shed.name")) == (house, 3, None)
    assert found.at["brokers.b.password"].text == "…"
    assert [fault.file for fault in broken.faults] == [house]
    assert broken.own("freezers.shed.limits.high") == high


def test_every_setting_of_the_pages_has_a_reason() -> None:
    """Each setting that pages change has a name for people and a reason, in sentences."""
    assert all(reason.label and reason.why.endswith(".") for reason in REASONS.values())
