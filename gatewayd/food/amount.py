"""Read how much and how many: "1 lb", "2 lb 4 oz", "1 1/2 kg", "12", "a dozen"."""

import re

from gatewayd.food.draft import HEAVIEST, MOST
from gatewayd.model.units import parse_weight

_SIGNS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3}
_WORDS = {
    word: number
    for number, words in enumerate(
        (
            "",
            "a an one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "nine",
            "ten",
            "eleven",
            "twelve dozen",
        )
    )
    for word in words.split()
}
NUMBER = r"(?:\d{1,7}(?:\.\d{1,6})?(?:\s*[½¼¾⅓⅔]|\s+\d{1,2}/\d{1,2})?|\d{1,2}/\d{1,2}|[½¼¾⅓⅔])"
_LARGE = r"kg|kilos?|kilograms?|lbs?|pounds?"
_SMALL = r"g|gr|grams?|oz|ounces?"
# a number and a unit, and perhaps a smaller one behind, as in "2 lb 4 oz"
WEIGHT = re.compile(
    rf"(?<![\d.,/])({NUMBER})\s*({_LARGE}|{_SMALL})\b\.?(?:\s*(?:and\s+)?({NUMBER})\s*({_SMALL})\b\.?)?", re.IGNORECASE
)
_LITRES = {"l": 1.0, "dl": 0.1, "cl": 0.01, "ml": 0.001}
VOLUME = re.compile(
    rf"(?<![\d.,/])({NUMBER})\s*(?:([dcm]?l)|(milli)?(?:litre|liter)s?)(?![^\W_]|['’-])\.?", re.IGNORECASE
)
COUNT = re.compile(
    rf"(?:({NUMBER})(?:\s*[x×](?![^\W\d_])|(?![^\W_]))|(half a dozen|a dozen|{'|'.join(_WORDS)})\b)\s*", re.IGNORECASE
)


def number(text: str) -> float:
    """Read a number, with a fraction or alone: "3", "1.5", "1 1/2", "½". ValueError for anything else."""
    found = re.fullmatch(rf"\s*{NUMBER}\s*", text)
    if found is None:
        raise ValueError(f"{text.strip()!r} is no number; write it like 12 or 1.5")
    total = 0.0
    for whole, above, below, sign in re.findall(r"(\d+(?:\.\d+)?)(?![\d/.])|(\d+)/(\d+)|([½¼¾⅓⅔])", text):
        if below and float(below) == 0:
            raise ValueError(f"{text.strip()!r} divides by nothing")
        total += float(whole) if whole else float(above) / float(below) if below else _SIGNS[sign]
    return total


def weight(text: str) -> float:
    """Read a weight as kg. ValueError for a missing or unknown unit, for nothing, and for more than 500 kg."""
    found = WEIGHT.fullmatch(text.strip())
    if VOLUME.fullmatch(text.strip()):
        raise ValueError(f"{text.strip()!r} is a volume; write the weight (a litre of soup is about 1 kg)")
    kg = parse_weight(text) if found is None else weighed(found)
    return checked_weight(kg, text)


def weighed(found: re.Match[str]) -> float:
    """Return what a match of WEIGHT says (kg)."""
    large, unit, small, below = found.groups()
    kg = number(large) * parse_weight(f"1 {_unit(unit)}")
    return kg if small is None else kg + number(small) * parse_weight(f"1 {_unit(below)}")


def litres(found: re.Match[str]) -> float:
    """Return what a match of VOLUME says (litres)."""
    figures, short, small = found.groups()
    return number(figures) * (_LITRES[short.lower()] if short else 0.001 if small else 1.0)


def _unit(text: str) -> str:
    return "g" if text.lower() == "gr" else text


def checked_weight(kg: float, text: str) -> float:
    """Return a weight unchanged; ValueError, saying `text`, where no package has it."""
    if not 0 < kg <= HEAVIEST:
        raise ValueError(f"{text.strip()!r} is not the weight of a package; above 0 to {HEAVIEST:g} kg are allowed")
    return kg


def count(text: str) -> float:
    """Read how many, as a number or a word. ValueError for nothing and for more than 10 000."""
    found = COUNT.fullmatch(text.strip())
    return checked_count(number(text) if found is None else counted(found), text)


def counted(found: re.Match[str]) -> float:
    """Return what a match of COUNT says."""
    figures, word = found.groups()
    if figures is not None:
        return number(figures)
    words = word.lower()
    return {"half a dozen": 6, "a dozen": 12}.get(words) or _WORDS[words]


def checked_count(many: float, text: str) -> float:
    """Return a count unchanged; ValueError, saying `text`, where no box holds so many."""
    if not 0 < many <= MOST:
        raise ValueError(f"{text.strip()!r} is not how many there are; above 0 to {MOST:g} are allowed")
    return many
