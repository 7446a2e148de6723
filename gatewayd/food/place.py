"""Find the box or freezer that somebody means: by its id, its name, or a few words of both ("top porch")."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from gatewayd.model.house import Freezer
from gatewayd.model.stock import Box

LOOSE = "Loose"  # the name of the box that stands for "in this freezer, in no box"
SOMEWHERE = "Somewhere"  # and of the one for "nobody said where"
THIS = "box:"  # before an id it means that box alone, whatever else is called so: as a page says it that shows the box
_EMPTY = frozenset(("the", "in", "of", "my", "our", "at", "on"))


@dataclass(frozen=True, slots=True)
class Places:
    """Hold the boxes and freezers there are."""

    boxes: Sequence[Box]
    freezers: Mapping[str, Freezer]

    def find(self, text: str) -> Box | Freezer:
        """Return the one place that `text` means. LookupError, saying what there is, for none and for several."""
        wanted, plain = words(text), text.strip().casefold()
        for box in self.boxes:
            if plain == f"{THIS}{box.id}":
                return box
        if wanted:
            for tier in (
                [f for f in self.freezers.values() if plain in (f.id, f.name.casefold())],
                [b for b in self.boxes if plain in (b.id, b.name.casefold())],
                [b for b in self.boxes if _all_in(wanted, self._own(b))],
                [f for f in self.freezers.values() if _all_in(wanted, _of_freezer(f))],
                [b for b in self.boxes if self._fits(wanted, b)],
            ):
                if len(tier) > 1:
                    several = "; ".join(sorted(f"{self.name(place)} ({place.id})" for place in tier)[:8])
                    raise LookupError(f"{text.strip()!r} may be several: {several}. Say one more word, or the id")
                if tier:
                    return tier[0]
        raise LookupError(f"{text.strip()!r} is no box or freezer here; {self._advice(plain)}")

    def freezer(self, text: str) -> Freezer:
        """Return the one freezer that `text` means. LookupError for none, for several, and for a box."""
        found = Places((), self.freezers).find(text)
        if isinstance(found, Freezer):
            return found
        raise LookupError(f"{text.strip()!r} is no freezer")

    def knows(self, text: str) -> bool:
        """Return whether `text` means one place, or several."""
        try:
            self.find(text)
        except LookupError as why:
            return "may be several" in str(why)
        return True

    def name(self, place: Box | Freezer) -> str:
        """Return what people call a place: "Top basket in Porch chest"."""
        if isinstance(place, Freezer):
            return place.name
        where = self.freezers[place.freezer].name if place.freezer in self.freezers else place.freezer
        called = place.name[:1].lower() + place.name[1:] if place.name in (LOOSE, SOMEWHERE) else place.name
        return f"{called} in {where}" if where else called

    def _own(self, box: Box) -> frozenset[str]:
        return words(f"{box.name} {box.layer} {box.place}")

    def _fits(self, wanted: frozenset[str], box: Box) -> bool:
        own, freezer = self._own(box), self.freezers.get(box.freezer)
        around = own if freezer is None else own | _of_freezer(freezer)
        return _all_in(wanted, around) and any(_all_in(frozenset((word,)), own) for word in wanted)

    def _advice(self, plain: str) -> str:
        there: list[Box | Freezer] = [*self.freezers.values(), *self.boxes]
        names = {self.name(place): place.id for place in there}
        close = get_close_matches(plain, {place.name.casefold() for place in there}, 3, 0.6)
        near = [self.name(place) for name in close for place in there if place.name.casefold() == name]
        shown = near or sorted(names)[:8]
        listed = ", ".join(f"{name} ({names[name]})" for name in shown)
        return f"there is {listed or 'none yet'}. A new box: gatewayd stock box NAME --in FREEZER"


def words(text: str) -> frozenset[str]:
    """Return the words of a name that may tell places apart, in small letters."""
    return frozenset(re.findall(r"[^\W_]+", text.casefold())) - _EMPTY


def slug(name: str) -> str:
    """Return an id made of a name: small letters, digits and hyphens, 40 at most."""
    found = "-".join(re.findall(r"[a-z0-9]+", name.casefold()))[:40].strip("-")
    return found or "box"


def _of_freezer(freezer: Freezer) -> frozenset[str]:
    return words(f"{freezer.id} {freezer.name} {freezer.place}")


def _all_in(wanted: frozenset[str], there: frozenset[str]) -> bool:
    """Return whether each word wanted begins one that is there."""
    return all(any(word.startswith(want) for word in there) for want in wanted)
