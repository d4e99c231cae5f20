"""Who is asking: worked out once for a request, and again whenever a page that stays open acts."""

from collections.abc import Callable, MutableMapping
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from services.console.accounts import Role

Scope = MutableMapping[str, Any]


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who it is, what they may do, and how they are known: `local`, `session`, `token` or `` (nobody)."""

    name: str
    role: Role
    by: str = ""

    @property
    def may_look(self) -> bool:
        """Whether they see more than the sign-in page."""
        return self.role is not Role.NOBODY

    @property
    def may_act(self) -> bool:
        """Whether they may ask anything of a service."""
        return self.role is Role.OPERATOR


NOBODY = Visitor("", Role.NOBODY)
LOCAL = Visitor("local", Role.OPERATOR, "local")
"""Whoever sits at this machine, while no operator has a password."""

WHO_IS_IT = "coldside.who"
"""In a request's scope: a function that says anew who is asking, so that an ended session ends at once."""
_scope: ContextVar[Scope | None] = ContextVar("coldside_scope", default=None)


def visitor() -> Visitor:
    """Of the current request, or of the page whose handler runs; nobody outside of both."""
    scope = _scope_of_page() or _scope.get()
    who: Callable[[], Visitor] | None = scope.get(WHO_IS_IT) if scope else None
    return who() if who else NOBODY


def remember(scope: Scope, who: Callable[[], Visitor]) -> None:
    """For the rest of a request, and for the page that it opens."""
    scope[WHO_IS_IT] = who
    _scope.set(scope)


def scope_here() -> Scope | None:
    """The scope of the current request, or of the request that opened the page whose handler runs."""
    return _scope_of_page() or _scope.get()


def _scope_of_page() -> Scope | None:
    from nicegui.slot import Slot  # heavy; whoever only asks for a type here must not pay for it

    stack = Slot.get_stack()
    if not stack:
        return None
    try:
        return stack[-1].parent.client.request.scope
    except RuntimeError:
        return None
