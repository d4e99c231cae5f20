"""Profiles that come along, and whether one that somebody writes would do."""

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter
from pydantic import BaseModel

from services.console.api.trouble import told

if TYPE_CHECKING:
    from services.console.app import Desk


class ProfileShown(BaseModel):
    """A profile as it is written, and as it is understood."""

    name: str
    text: str
    profile: dict[str, Any]


def programmes(desk: "Desk") -> APIRouter:
    """Reads of the library."""
    router = APIRouter(tags=["profiles"], prefix="/profiles", responses=told())

    @router.get("")
    def names() -> list[str]:
        """What there is."""
        return desk.profiles.names()

    @router.get("/{name}", responses=told(404))
    def profile(name: str) -> ProfileShown:
        """One of them."""
        text = desk.profiles.text(name)
        understood = desk.profiles.read(text).model_dump(mode="json", by_alias=False)
        return ProfileShown(name=name, text=text, profile=understood)

    return router
