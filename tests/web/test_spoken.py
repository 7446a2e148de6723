"""What the gateway tells people to type is left out on a page, and what is left are whole sentences."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import gatewayd
from gatewayd.cli.main import COMMANDS
from gatewayd.web.spoken import NOTHING, sentences, spoken

SOURCE = Path(gatewayd.__file__).parent
TELLERS = ("daemon", "food", "message", "upkeep", "watch", "store")
HOLE = "plums"
TYPED = re.compile(rf"\bgatewayd (?:{'|'.join(COMMANDS)})(?![\w-])|(?<!\S)--[a-z]")


def texts(tree: ast.Module) -> Iterator[str]:
    """Yield the texts of a module, a word in each hole; no docstrings, and no parts of a text by themselves."""
    parts = {id(part) for whole in ast.walk(tree) if isinstance(whole, ast.JoinedStr) for part in whole.values}
    notes = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else HOLE for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in parts | notes:
            yield node.value


FOUND = sorted(
    {
        text
        for teller in TELLERS
        for file in (SOURCE / teller).rglob("*.py")
        for text in texts(ast.parse(file.read_text()))
        if TYPED.search(text)
    }
)


def test_texts_are_found() -> None:
    """The source is looked through: texts with a command and texts with an option are among what is found."""
    assert any("gatewayd stock list" in text for text in FOUND)
    assert any("say --anyway" in text for text in FOUND)


@pytest.mark.parametrize("text", FOUND)
def test_every_text_can_be_cut(text: str) -> None:
    """Of whatever the gateway may say no command and no option is left on a page, and the rest are sentences."""
    said = sentences(text)
    assert TYPED.search(said) is None
    if said:
        assert said[-1] in ".!?" or said.splitlines()[-1].removeprefix(HOLE) == HOLE, said
        assert said[0].isupper() or text.lstrip().startswith(said[:5]), said
        for dangling in (", or.", "  ", ":.", ": .", ",.", ";.", " .", ":\n\n"):
            assert dangling not in said
        assert not said.endswith(":")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command(name: str) -> None:
    """Whichever command a sentence names, it is left out, and its neighbours stay as they are."""
    assert sentences(f"It is warm. See: gatewayd {name} shed --for 3h. Look soon.") == "It is warm. Look soon."


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Nothing fits. See all with: gatewayd stock list", "Nothing fits."),
        ("Noted.\nWas it the last? gatewayd stock use 3", "Noted.\nWas it the last?"),
        ("Too few.\nIf that was all of it: gatewayd stock use 3\nIf there are more: gatewayd stock count 3 --is N",
         "Too few."),
        ("2 fit plums. Say the number:\n   1  plums\n   2  plums, red\nFor the one frozen first say --oldest.",
         "2 fit plums. Say the number:\n   1  plums\n   2  plums, red"),
        ("Added:\n  1  plums; Top basket", "Added:\n  1  plums; Top basket"),
        ("To defrost all the same add --anyway. Nothing changed.", "Nothing changed."),
        ("gatewayd watches from now on.", "gatewayd watches from now on."),
        ("All is well.\n\nIt runs.", "All is well.\n\nIt runs."),
        ("Added: peas --old; red box.", "Added: peas --old; red box."),
    ],
)  # fmt: skip
def test_sentences(text: str, said: str) -> None:
    """What must be typed into a terminal is left out, and nothing else."""
    assert sentences(text) == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Added:\n    13  12 bags of beans; Top basket", "Added:\n  12 bags of beans; Top basket"),
        ("Counted: 10  11 bags of beans", "Counted: 11 bags of beans"),
        ("The list has 7  plums\nNothing was changed.", "The list has plums\nNothing was changed."),
        ("Taken out: 1 bag of beans. Left: 11 bags of beans", "Taken out: 1 bag of beans. Left: 11 bags of beans"),
    ],
)
def test_numbers(text: str, said: str) -> None:
    """The number of a package, which is to be typed, does not stand before how many there are."""
    assert spoken({"done": True, "text": text})["text"].replace("    ", "  ") == said


def test_answers() -> None:
    """Words, hints and warnings are cut; a refusal of which nothing is left is said all the same."""
    assert spoken({"done": False, "error": "Say --anyway."}) == {"done": False, "error": NOTHING}
    assert spoken({"done": True, "text": "Done.", "hints": ["Plums? Say: gatewayd stock set 1", "Say --new"]}) == {
        "done": True, "text": "Done.", "hints": ["Plums?"],
    }  # fmt: skip
