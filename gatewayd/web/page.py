"""Write a page: plain HTML that needs no script and nothing from elsewhere, readable at 320 px, by day and by night."""

import base64
import hashlib
from collections.abc import Sequence
from html import escape

# Black on white and white on near-black have a contrast above 15:1, the button 7:1 (WCAG 2.2, 1.4.6 asks for 7).
# 44 px is the least size of what a finger hits (WCAG 2.2, 2.5.5).
STYLE = """
:root{color-scheme:light dark}
*{box-sizing:border-box}
body{margin:0 auto;padding:1rem;max-width:36rem;font:1.0625rem/1.5 system-ui,sans-serif;color:#111;background:#fff;
overflow-wrap:anywhere}
h1{font-size:1.375rem;line-height:1.25;margin:.25rem 0 1rem}
p{margin:0 0 .75rem}
.house{color:#444;margin:0}
button{display:block;width:100%;min-height:44px;padding:.75rem;margin:1.25rem 0;font:inherit;font-weight:600;
color:#fff;background:#0b4f9e;border:2px solid #0b4f9e;border-radius:.5rem}
.home{display:inline-flex;align-items:center;min-height:44px;color:inherit}
button:focus-visible,.home:focus-visible{outline:3px solid #e08a00;outline-offset:2px}
@media (prefers-color-scheme:dark){body{color:#f2f2f2;background:#121212}.house{color:#bbb}
button{color:#06111f;background:#9cc8ff;border-color:#9cc8ff}}
"""
_HASH = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
# Nothing from elsewhere and nothing inside a page but this one style: what somebody managed to write into a page as a
# script would not run.
POLICY = (
    f"default-src 'none'; style-src 'self' 'sha256-{_HASH}'; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


def page(house: str, title: str, lines: Sequence[str], button: str = "", home: str = "") -> str:
    """Return a whole page. Every text is escaped; `button` is what the one button says, without one there is none.

    `home` is what the link to the house's pages says; without words there is none.

    The button sends a form to the address of the page itself, so the page need not repeat its own secret.
    """
    paragraphs = "\n".join(f"<p>{escape(line)}</p>" for line in lines if line)
    form = f'<form method="post"><button type="submit">{escape(button)}</button></form>\n' if button else ""
    link = f'<p><a class="home" href="/">{escape(home)}</a></p>\n' if home else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="robots" content="noindex, nofollow">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f'<p class="house">{escape(house)}</p>\n<h1>{escape(title)}</h1>\n{paragraphs}\n'
        f"{form}{link}</main>\n</body>\n</html>\n"
    )
