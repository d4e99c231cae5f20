"""The pages that people look at and act on; each module with a `register` declares its own."""

from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

from nicegui import app

from services.console.app import Desk

LOOKS = "/static"
"""Where our style sheet, scripts, icon and manifest are served."""
STATIC = Path(__file__).parent.parent / "static"


def install(desk: Desk) -> None:
    """Declares every page to NiceGUI."""
    app.add_static_files(LOOKS, STATIC, max_cache_age=3600)
    for found in iter_modules(__path__):
        module = import_module(f"services.console.pages.{found.name}")
        if hasattr(module, "register"):
            module.register(desk)
