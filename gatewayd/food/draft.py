"""What somebody wrote down of packages, before it is on the list."""

from dataclasses import dataclass, fields
from operator import attrgetter

# Our choices: what is longer or more is a slip, or was not typed by a person
LONGEST = {"food": 120, "packed": 40, "who": 60, "note": 500, "box": 80, "freezer": 80}
MOST = 10_000.0  # packages in one row
HEAVIEST = 500.0  # kg of one package: a whole beast


@dataclass(slots=True)
class Draft:
    """Hold one row as it was written; the fields are those of `model.stock.Package`.

    `box` is the id or the name of a box, `freezer` the id of a freezer; both may be empty. `number` is that of a
    package that is on the list already and is to become as is written here.
    """

    food: str
    count: float | None = None
    each: float | None = None
    frozen: int | None = None
    about: bool = False
    packed: str = ""
    who: str = ""
    note: str = ""
    box: str = ""
    freezer: str = ""
    since: int | None = None
    fresh: bool = False
    number: int | None = None


CELLS = tuple(each.name for each in fields(Draft))
cells = attrgetter(*CELLS)  # the fields of a draft as a tuple


def tidy(what: str, text: str) -> str:
    """Return `text` on one line without blanks around it; ValueError where it is too long for the field `what`."""
    found = " ".join(text.split())
    if len(found) > LONGEST[what]:
        raise ValueError(f"{what} has {len(found)} characters; {LONGEST[what]} are allowed")
    if not found.isprintable():
        raise ValueError(f"{what} holds a character that cannot be printed ({ascii(found)[:60]})")
    return found
