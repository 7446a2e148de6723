"""Take what was typed in a form of the settings and put it in force, the same way for each form."""

import re
from collections.abc import Awaitable, Callable, Iterable

from aiohttp import web

from gatewayd.model.house import House
from gatewayd.settings.document import Document
from gatewayd.settings.faults import words_of
from gatewayd.web.form import Form, read_form
from gatewayd.web.sheet import SetBy, Sheet, edited, judged, typed

SHOWN_AGAIN = 1000  # characters of what was typed and refused
Change = Callable[[Callable[[Document], Document]], Awaitable[list[str]]]


async def fill(request: web.Request, sheet: Sheet, house: House, change: Change, set_by: SetBy) -> Sheet:
    """Put what was typed in force by `change`, which returns faults; return the sheet with what is wrong, if anything.

    `sheet` is how the form stands now. What others changed since the form was shown stays as they left it.
    """
    filled = typed(sheet, texts(await read_form(request)), house.units, set_by)
    if not filled.right:
        return filled
    return judged(filled, await change(lambda document: edited(document, filled)))


def careful(before: Iterable[str], after: Iterable[str]) -> list[str]:
    """Return what the settings warn of and did not before, in words for the next page."""
    known = set(before)
    return [f"Careful: {words_of(warning)}." for warning in after if warning not in known]


def texts(form: Form) -> dict[str, str]:
    """Return the fields of a form that are settings, at a length that can be shown again."""
    return {name: value[:SHOWN_AGAIN] for name, value in form.fields.items() if isinstance(value, str) and "." in name}


def free_id(name: str, otherwise: str, taken: set[str]) -> str:
    """Return an id made of a name that nothing else has; `otherwise` where no letter of it can stand in one."""
    plain_name = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:36].strip("-") or otherwise
    if plain_name not in taken:
        return plain_name
    return next(found for number in range(2, len(taken) + 3) if (found := f"{plain_name}-{number}") not in taken)


def kept(form: Form, name: str) -> str:
    """Return a field of a refused form, at a length that can be shown again."""
    value = form.fields.get(name, "")
    return value[:SHOWN_AGAIN] if isinstance(value, str) else ""
