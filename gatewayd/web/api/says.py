"""What a type says of a value beyond its kind: the unit, and how long, large or many it may be.

These stand in the types of the JSON (`Annotated`); what comes in is checked by them, and the description is made of
them, so that neither can say something else than the other.
"""

from dataclasses import dataclass
from typing import Annotated, Any, get_args, get_origin

LONGEST = 500  # characters of what somebody writes: as long as a field of the pages (web/form.py)
KEY = 80  # characters of a key against doing it twice: what the door takes
NUMBER = 1 << 53  # above every number of an event or package; beyond it a program's JSON rounds (RFC 8259, 6)
LISTED = 500  # things in one list of an order: more than a household has in one freezer (our choice)


@dataclass(frozen=True, slots=True)
class Says:
    """Hold what is said of a value: `words` for people; None where there is no such bound.

    `least` and `most` bound a number, `shortest` and `longest` a text (characters) or list (values). `pattern` is a
    regular expression that the whole text must fit, the same in Python and in ECMA 262; `format` names one of JSON
    Schema's.
    """

    words: str = ""
    least: float | None = None
    most: float | None = None
    shortest: int | None = None
    longest: int | None = None
    pattern: str = ""
    format: str = ""


def apart(hint: Any) -> tuple[Any, Says]:
    """Return a type without what is said of it, and that."""
    if get_origin(hint) is not Annotated:
        return hint, Says()
    bare, *more = get_args(hint)
    return bare, next((each for each in more if isinstance(each, Says)), Says())


# What comes in
Id = Annotated[str, Says("An id of the settings, like shed-chest.", pattern="[a-z0-9][a-z0-9-]{0,39}")]
BoxId = Annotated[str, Says("The id of a box.", shortest=1, longest=80)]
Number = Annotated[int, Says("A number that people see.", least=1, most=NUMBER)]
Words = Annotated[str, Says("Words of a person.", longest=LONGEST)]
Said = Annotated[
    str, Says("Words of a person, which must be there.", shortest=1, longest=LONGEST, pattern=r"[\s\S]*\S[\s\S]*")
]
Key = Annotated[
    str, Says("A key of the sender's own: an order that comes again with the same key is not done twice.", longest=KEY)
]
KeyHeader = Annotated[str, Says("The same in a header: letters, digits and signs.", longest=KEY, pattern="[!-~]*")]
_DAY = "[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
_CLOCK = "([01][0-9]|2[0-3]):[0-5][0-9]"
_BACK = "[0-9]{1,6}([.][0-9]{1,3})? ?(s|min|h|days?)"
Time = Annotated[
    str,
    Says(
        "A day or time, 2026-11-25 or 2026-11-25T14:00 with or without an offset, or a span back from now like 7 days "
        "or 1 h 30 min; empty: not said.",
        longest=40,
        pattern=f"({_DAY}(T{_CLOCK}(:[0-5][0-9]([.][0-9]{{1,6}})?)?(Z|[+-]{_CLOCK})?)?|{_BACK}( {_BACK})?)?",
    ),
]
Amount = Annotated[float, Says("How many; half a bag counts.", least=0, most=100_000)]
Share = Annotated[float, Says("A share, 0 to 1.", least=0, most=1)]

# What goes out
Celsius = Annotated[float, Says("°C")]
Kelvin = Annotated[float, Says("A difference, K.")]
Kilograms = Annotated[float, Says("kg")]
Hours = Annotated[float, Says("h")]
Span = Annotated[int, Says("A span, ms.")]
Stamp = Annotated[str, Says("ISO 8601 with the household's offset.", format="date-time")]
Day = Annotated[str, Says("A day, ISO 8601.", format="date")]
