"""Pages that work without a script and without anybody's name: small, and whole in themselves."""

from html import escape
from pathlib import Path

from fastapi import Request, Response

from services.console.board import palette

THEME_COOKIE = "coldside_theme"
HEADERS = {"Cache-Control": "no-store", "X-Robots-Tag": "noindex", "Referrer-Policy": "same-origin"}
_DEVICE = (
    '<script>document.documentElement.dataset.theme = matchMedia("(prefers-color-scheme: dark)").matches'
    ' ? "dark" : "light"</script>'
)
_SHEET = Path(__file__).parent.parent / "static" / "plain.css"


def plain_page(request: Request, site: str, title: str, body: str, status: int = 200) -> Response:
    """A page of one column; `body` is HTML in which everything from elsewhere is escaped already."""
    theme = request.cookies.get(THEME_COOKIE, "")
    picked = theme if theme in palette.THEMES else "light"
    style = f"{palette.style()}\n{_SHEET.read_text(encoding='utf-8')}"
    head = (
        f'<!doctype html><html lang="en" data-theme="{picked}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)} · {escape(site)}</title><style>{style}</style>"
        f"{'' if theme in palette.THEMES else _DEVICE}</head>"
    )
    text = f'{head}<body><main><p class="site">{escape(site)}</p><h1>{escape(title)}</h1>{body}</main></body></html>'
    return Response(text, status, HEADERS, "text/html; charset=utf-8")
