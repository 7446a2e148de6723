"""Serve what never changes within a version: the style, the scripts, the charts' library."""

import gzip
import hashlib
from functools import lru_cache
from importlib import resources
from pathlib import PurePosixPath

from aiohttp import web

FOREVER = "public, max-age=31536000, immutable"  # the address changes with the content
KINDS = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml", ".txt": "text/plain"}


@lru_cache(maxsize=1)
def assets() -> dict[str, tuple[bytes, bytes]]:
    """Return all files by name, each as it is and packed; read once, some 100 kB."""
    found = {}
    for file in resources.files("gatewayd.web").joinpath("static").iterdir():
        if PurePosixPath(file.name).suffix in KINDS:
            plain = file.read_bytes()
            found[file.name] = plain, gzip.compress(plain, mtime=0)
    return found


@lru_cache(maxsize=32)  # as many as there are files, and a few more
def address(name: str) -> str:
    """Return where a file is served. Raise KeyError for one that there is not."""
    return f"/static/{hashlib.sha256(assets()[name][0]).hexdigest()[:12]}/{name}"


class Assets:
    """Answer at /static/DIGEST/NAME."""

    def add(self, app: web.Application) -> None:
        """Add where they answer; an old digest gives the new file, uncached."""
        app.router.add_get("/static/{digest}/{name}", self.give)

    async def give(self, request: web.Request) -> web.Response:
        """Give one file, packed for a browser that takes it so."""
        name = request.match_info["name"]
        if name not in assets():
            raise web.HTTPNotFound
        plain, packed = assets()[name]
        headers = {"Vary": "Accept-Encoding"}
        if request.path == address(name):
            headers["Cache-Control"] = FOREVER
        if "gzip" in request.headers.get("Accept-Encoding", ""):
            headers["Content-Encoding"] = "gzip"
            plain = packed
        kind = KINDS[PurePosixPath(name).suffix]
        return web.Response(body=plain, content_type=kind, charset="utf-8", headers=headers)
