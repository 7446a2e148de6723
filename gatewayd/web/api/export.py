"""Describe the downloads by OpenAPI."""

from gatewayd.web.api.openapi import READING, parameters, refer
from gatewayd.web.api.schema import Plain
from gatewayd.web.api.stream import TYPES, OfEvents, OfReadings

ABOUT = "Exports"


def downloads() -> list[Plain]:
    """Return the paths of the downloads."""
    return [
        {f"/export/{what}.{form}": {"get": _one(what, form, kind, shape)}}
        for what, shape in (("readings", OfReadings), ("events", OfEvents))
        for form, kind in TYPES.items()
    ]


def _one(what: str, form: str, kind: str, shape: type) -> Plain:
    return {
        "operationId": f"export{what.capitalize()}{form.capitalize()}",
        "tags": [ABOUT],
        "summary": f"All {what}, a row each, as they are read.",
        "security": READING,
        "parameters": parameters(shape, "query"),
        "responses": {
            "200": {"description": "The rows.", "content": {kind: {"schema": {"type": "string"}}}},
            **refer((400, 401, *((404,) if shape is OfReadings else ()), 409, 422, 500, 503)),
        },
    }
