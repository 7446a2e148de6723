"""What several rigs of the daemon need."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.rigs import certs
from tests.rigs.mail import MailServer, mail_server


@pytest.fixture
async def mail(tmp_path: Path) -> AsyncIterator[tuple[MailServer, certs.Certs]]:
    """Serve mail over STARTTLS with a throw-away authority."""
    papers = certs.make(tmp_path)
    async with mail_server(papers.good) as server:
        yield server, papers
