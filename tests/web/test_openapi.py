"""The description by OpenAPI: well formed, made of the types, and kept by what is served."""

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest

from gatewayd.web.api.export import downloads
from gatewayd.web.api.openapi import describe
from gatewayd.web.api.operation import Done
from gatewayd.web.api.schema import Schemas
from gatewayd.web.api.service import OPERATIONS
from tests.web.living import cold, warm
from tests.web.open_house import open_house
from tests.web.schemas import conform

BASE = "/api/v1"


@pytest.fixture(scope="module", name="described")
def described_() -> dict[str, Any]:
    """Return the description."""
    return describe("Heron Lane", OPERATIONS, downloads())


def walk(plain: Any) -> Iterator[dict[str, Any]]:
    """Yield every object in a JSON value."""
    if isinstance(plain, dict):
        yield plain
    for value in plain.values() if isinstance(plain, dict) else plain if isinstance(plain, list) else ():
        yield from walk(value)


def test_description_is_well_formed(described: dict[str, Any]) -> None:
    """It has what OpenAPI 3.1 asks for: names used once, references that lead somewhere, path parameters that exist."""
    assert described["openapi"].startswith("3.1.")
    assert {"title", "version"} <= described["info"].keys()
    ids = [each["operationId"] for way in described["paths"].values() for each in way.values()]
    assert len(ids) == len(set(ids)) > 40
    for each in walk(described):
        if isinstance(reference := each.get("$ref"), str):
            found: Any = described
            for step in reference.removeprefix("#/").split("/"):
                found = found[step]
    for way, methods in described["paths"].items():
        assert way.startswith("/")
        for each in methods.values():
            told = {one["name"] for one in each.get("parameters", ()) if one["in"] == "path"}
            assert told == {part.strip("{}") for part in way.split("/") if part.startswith("{")}
            assert "200" in each["responses"]
            assert each["summary"].endswith(".")
            assert ("requestBody" in each) == (each is methods.get("post"))


def test_schemas_are_json_schema(described: dict[str, Any]) -> None:
    """Each schema is one of JSON Schema 2020-12, and says what it is for."""
    for name, schema in described["components"]["schemas"].items():
        jsonschema_rs.meta.validate({"$schema": "https://json-schema.org/draft/2020-12/schema", **schema})
        assert schema["description"], name


def test_types_go_one_way_only() -> None:
    """A type that comes in cannot go out too: what is needed differs."""
    schemas = Schemas()
    schemas.of(Done, comes_in=False)

    with pytest.raises(TypeError, match="Done comes in and goes out"):
        schemas.of(Done, comes_in=True)


@pytest.mark.rig
async def test_it_is_served(tmp_path: Path, described: dict[str, Any]) -> None:
    """The house serves its own description."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get(f"{BASE}/openapi.json")

    assert json.loads(page.text) == described


@pytest.mark.rig
@pytest.mark.timeout(100)
async def test_what_is_served_keeps_it(tmp_path: Path) -> None:
    """Whatever is sent, right or wrong, no answer is a failure of the server, and each is as it is described."""
    async with open_house(tmp_path) as house:
        await cold(house)
        await warm(house)
        word = json.loads((await house.phone.get(f"{BASE}/me")).text)["form_word"]
        for number, lines in enumerate((["12 bags of beans, 1 lb, shed chest"], ["2 kg venison, shed chest"])):
            await house.home.ask({"ask": "stock", "do": "add", "lines": lines, "key": str(number)}, "ann")
        cookie = "; ".join(f"{each.key}={each.value}" for each in house.phone.session.cookie_jar)
        document = json.loads((await house.phone.get(f"{BASE}/openapi.json")).text)
        for each in walk(document["paths"]):
            each.pop("security", None)  # the headers below sign in; who may do what is tried in test_api.py
        headers = {"Cookie": cookie, "X-Form-Word": word}
        tried, failures = await asyncio.to_thread(conform, document, house.begins + BASE, headers)

    assert not failures, "\n".join(failures)
    assert tried >= 5 * len(OPERATIONS)
