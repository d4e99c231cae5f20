"""The REST interface under `/api/v1`: every read and every act, described by an OpenAPI document."""

from typing import TYPE_CHECKING

from fastapi import FastAPI

if TYPE_CHECKING:
    from services.console.app import Desk

PREFIX = "/api/v1"


def interface(desk: "Desk") -> FastAPI:
    """An application with all routes of the interface."""
    return FastAPI(
        title="coldside",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url=f"{PREFIX}/openapi.json",
    )
