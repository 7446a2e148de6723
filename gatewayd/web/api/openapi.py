"""Describe the JSON by OpenAPI 3.1, made of the types by which it is checked."""

from collections.abc import Sequence
from dataclasses import MISSING, dataclass, fields
from inspect import cleandoc
from typing import Any

from gatewayd import __version__
from gatewayd.web.api.fit import hints, item_of
from gatewayd.web.api.operation import Done, Nothing, Operation
from gatewayd.web.api.says import KeyHeader
from gatewayd.web.api.schema import PLACE, Plain, Schemas
from gatewayd.web.gate import HEADER
from gatewayd.web.session import COOKIE

BASE = "/api/v1"
KEY_HEADER = "Idempotency-Key"
PROBLEM = "application/problem+json"  # RFC 9457
# What may go wrong, and when.
WRONG = {
    400: "It cannot be read: no JSON, or a name given twice.",
    401: "Nobody has signed in, or the link to look was taken back.",
    403: "The order lacks the word of its session, or comes by a link with which one can only look.",
    404: "What is named in the path is not there.",
    409: "The house refuses: the sentence says why. Nothing was changed.",
    413: "It is too long.",
    415: "The body is not application/json.",
    422: "A value does not fit; the pointer says which.",
    500: "It could not be done; the log of gatewayd says more.",
    503: "The store cannot be read or written at the moment.",
}
OF_LOOKS = (400, 401, 404, 409, 422, 500, 503)
INTRO = """\
All that the pages of the house show and order, for programs. Temperatures are in °C, differences in K, spans in
milliseconds, stamps in ISO 8601 with the household's offset. A program reads with the cookie of a sign-in, or with
`Authorization: Bearer WORD`, where WORD is that of a link to look. An order needs a sign-in and the word of its session
in the header X-Form-Word; GET /me says it. An order that comes again with the same key is not done twice. No figure
here calls food safe: local food-safety authorities and the maker of a package come first."""


@dataclass(frozen=True, slots=True)
class Problem:
    """What went wrong (RFC 9457). `error` and `detail` are the same sentence; `pointer` is where (RFC 6901)."""

    title: str
    status: int
    detail: str
    error: str
    pointer: str | None


def describe(house: str, operations: Sequence[Operation], downloads: Sequence[Plain] = ()) -> Plain:
    """Return the description of some operations of a house; `downloads` are paths that are written by hand."""
    schemas = Schemas()
    schemas.of(Problem, comes_in=False)
    schemas.all["Problem"] |= {"required": ["error"]}  # what stops before the operation says no more
    paths: dict[str, Plain] = {}
    for each in operations:
        paths.setdefault(each.way, {})[each.method] = _operation(each, schemas)
    for more in downloads:
        paths |= more
    return {
        "openapi": "3.1.1",
        "info": {"title": f"{house}: freezers and their food", "version": __version__, "description": INTRO},
        "servers": [{"url": BASE}],
        "tags": [{"name": name} for name in dict.fromkeys(each.about for each in operations)],
        "paths": paths,
        "components": {
            "schemas": dict(sorted(schemas.all.items())),
            "responses": {str(status): _wrong(text) for status, text in WRONG.items()},
            "securitySchemes": {
                "session": {"type": "apiKey", "in": "cookie", "name": COOKIE, "description": "Of a sign-in."},
                "formWord": {"type": "apiKey", "in": "header", "name": HEADER, "description": "As GET /me says it."},
                "link": {"type": "http", "scheme": "bearer", "description": "The word of a link to look."},
            },
        },
    }  # fmt: skip


def _wrong(text: str) -> Plain:
    problem = {"schema": {"$ref": f"{PLACE}Problem"}}
    return {"description": text, "content": {PROBLEM: problem, "application/json": problem}}


def refer(statuses: Sequence[int]) -> Plain:
    """Return what may go wrong, for the responses of an operation."""
    return {str(status): {"$ref": f"#/components/responses/{status}"} for status in statuses}


READING: list[Plain] = [{"session": []}, {"link": []}]


def _operation(each: Operation, schemas: Schemas) -> Plain:
    looks = each.body is None
    made: Plain = {
        "operationId": each.name,
        "tags": [each.about],
        "summary": each.words,
        "security": READING if looks else [{"session": [], "formWord": []}],
        "responses": {
            "200": {
                "description": "As was asked." if each.answer is not Done else "It was carried out.",
                "content": {"application/json": {"schema": schemas.of(each.answer, comes_in=False)}},
            },
            **({"304": {"description": "As it was when it had this ETag."}} if looks else {}),
            **refer(OF_LOOKS if looks else tuple(WRONG)),
        },
    }
    told = [*parameters(each.path, "path"), *parameters(each.query, "query")]
    if each.body is not None:
        made["requestBody"] = {
            "required": bool(needed(each.body)),
            "content": {"application/json": {"schema": schemas.of(each.body, comes_in=True)}},
        }
        told.append({"name": KEY_HEADER, "in": "header", "schema": _plain(KeyHeader)})
    if told:
        made["parameters"] = told
    return made


def needed(shape: type) -> list[str]:
    """Return the names of the fields that must be said."""
    return [f.name for f in fields(shape) if f.default is MISSING and f.default_factory is MISSING]


def parameters(shape: type, where: str) -> list[Plain]:
    """Return the fields of a type as parameters of a path or query."""
    if shape is Nothing:
        return []
    must = needed(shape)
    said = " ".join(cleandoc(shape.__doc__ or "").split())
    found = []
    for name, hint in hints(shape).items():
        schema = _plain(hint)
        kind = schema.get("type")
        if isinstance(kind, list):  # what is left out stands for null
            schema |= {"type": kind[0]}
        schema = schema.get("anyOf", [schema])[0]
        one: Plain = {"name": name, "in": where, "required": name in must, "schema": schema, "description": said}
        if item_of(hint) is not None:
            one |= {"style": "form", "explode": True}
        found.append(one)
    return found


def _plain(hint: Any) -> Plain:
    return Schemas().of(hint, comes_in=True)
