"""The front page: one sentence for the house, a row for each freezer, what is due, and the gateway's own health."""

from aiohttp import web

from gatewayd.web.home import Home
from gatewayd.web.paint import Paint


class Now:
    """Answer at /."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/", self.show)

    async def show(self, request: web.Request) -> web.Response:
        """Show how the house is."""
        return self._paint.page(request, "now.html", status_=self._home.status())
