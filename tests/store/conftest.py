"""A store in a folder of its own."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from gatewayd.store.store import Store
from tests.store.make import LONDON


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Name a file that does not exist yet."""
    return tmp_path / "gatewayd.db"


@pytest.fixture
async def store(path: Path) -> AsyncIterator[Store]:
    """Open a new store in London."""
    store = await Store.open(path, LONDON)
    yield store
    await store.close()
