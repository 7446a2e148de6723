"""The one table of foods: every step that must know what a food is finds it here, by the household's word."""

import re
from collections.abc import Iterator
from difflib import SequenceMatcher
from itertools import combinations
from unicodedata import normalize

from gatewayd.food.flesh import FLESH
from gatewayd.food.pantry import PANTRY
from gatewayd.food.plants import PLANTS
from gatewayd.food.row import Food

FOODS: tuple[Food, ...] = FLESH + PLANTS + PANTRY

_Key = tuple[str, ...]

# Words that never tell foods apart
_EMPTY = frozenset(("a", "an", "and", "from", "in", "my", "of", "our", "own", "some", "the", "with"))
# Words that may be left out where the text with them is unknown: none of them changes how a food is judged. A word
# that is in neither list (smoked, cooked, cream, pudding) is never dropped: better no food than a wrong one.
_PLAIN_WORDS = """
bag big blanched boned boneless box chopped cubed diced filleted fresh frozen garden green halved homegrown
homemade large little mini organic pack packet peeled piece pitted purple quartered raw red ripe shelled skinless sliced
small stoned trimmed tub washed whole wild yellow
"""
_PLAIN = frozenset(_PLAIN_WORDS.split())
_ODD = {"halves": "half", "leaves": "leaf", "loaves": "loaf"}
_MOST_PLAIN = 5  # more are not a name but a story; it bounds the search too
_LIKE = 0.6  # of 1: below it a name reads like another word (our choice, tried on slips of the pen)


def find(text: str) -> Food | None:
    """Return the food that `text` names, or None.

    Case, accents, plural and the order of words do not matter, nor words such as "frozen", "sliced" or "bag of". Any
    other word does: "bread pudding" is not bread. Slips of the pen are not guessed at, see `suggest`.
    """
    words = _words(text)
    plain = [word for word in words if word in _PLAIN]
    if len(plain) > _MOST_PLAIN:
        return None
    for count in range(len(plain) + 1):
        for dropped in combinations(plain, count):
            food = _BY_KEY.get(tuple(sorted(word for word in words if word not in dropped)))
            if food is not None:
                return food
    return None


def suggest(text: str, n: int = 3) -> tuple[Food, ...]:
    """Return up to `n` foods whose names read like `text` or share a word with it, the likest first."""
    words = tuple(sorted(_words(text)))
    if not words:
        return ()
    best: dict[str, tuple[float, Food]] = {}
    for key, food in _BY_KEY.items():
        like = _likeness(words, key)
        if like >= _LIKE and like > best.get(food.name, (0.0, food))[0]:
            best[food.name] = (like, food)
    likest = sorted(best.values(), key=lambda pair: (-pair[0], pair[1].name))
    return tuple(food for _, food in likest[:n])


def _likeness(words: _Key, key: _Key) -> float:
    letters = SequenceMatcher(None, " ".join(words), " ".join(key)).ratio()
    shared = 2 * len(set(words) & set(key)) / (len(words) + len(key))
    return max(letters, (1 + shared) / 2 if shared else 0.0)


def _words(text: str) -> list[str]:
    """Return the words of `text` that may tell a food: small letters, no accents, singular."""
    letters = normalize("NFKD", text.casefold().replace("’", "'")).encode("ascii", "ignore").decode()
    found = re.findall(r"[a-z]+", re.sub(r"'s?\b", "", letters))
    return [_singular(word) for word in found if word not in _EMPTY]


def _singular(word: str) -> str:
    """Return one form for a word's singular and plural, not always the dictionary's ("cookies", "cookie": "cooky")."""
    if word in _ODD:
        return _ODD[word]
    if word.endswith(("oes", "ches", "shes", "xes", "sses")):
        word = word[:-2]
    elif len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        word = word[:-1]
    if word.endswith(("che", "she")):
        word = word[:-1]
    return word[:-2] + "y" if len(word) > 3 and word.endswith("ie") else word


def _keys(food: Food) -> Iterator[_Key]:
    for name in (food.name, *food.also):
        yield tuple(sorted(_words(name)))


def _index() -> dict[_Key, Food]:
    index: dict[_Key, Food] = {}
    for food in FOODS:
        for key in _keys(food):
            if index.setdefault(key, food) is not food:
                raise ValueError(f"{' '.join(key)} names both {index[key].name} and {food.name}; leave one out")
    return index


_BY_KEY = _index()
