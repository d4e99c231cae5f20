"""Who may come in: accounts, for operators to give and take, and everybody's own tokens for their programs."""

import asyncio
from collections.abc import Callable
from functools import partial
from typing import Any

from nicegui import ui

from services.console import tokens
from services.console.access import visitor
from services.console.accounts import Account, AccountRefused, Role
from services.console.app import Desk
from services.console.desk.answers import Said
from services.console.desk.batch_words import when
from services.console.desk.entries import local_moment
from services.console.pages.fields import Choice, Line, Told, press, words

ROLES = {Role.OPERATOR.value: "operator: looks and acts", Role.VIEWER.value: "viewer: looks"}


class AccountsPart:
    """The accounts, and a form for another."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def draw(self) -> None:
        """Names and roles; passwords are never seen."""
        with ui.element("section").classes("panel").props('aria-label="Accounts"'):
            words("Accounts", "h2")
            words("With the first operator, everybody has to sign in, this machine included.", "p", "hint")
            self.place = ui.element("div")
            self.form = ui.element("div").classes("fields")
            self.told = Told()
        self._write()
        self._write_form()

    def _write_form(self) -> None:
        """Empty: no password stays on a page that is left open."""
        self.form.clear()
        with self.form:
            self.name = Line("Name", help="Lower-case letters, digits, hyphens.")
            self.role = Choice("Role", ROLES)
            self.password = Line("Password", kind="password", help="10 characters or more.")
            press("Add the account", self._add, "strong")

    def _write(self) -> None:
        self.place.clear()
        with self.place:
            found = self._accounts()
            if not found:
                words(
                    "No account yet: whoever sits at this machine may look and act, and nobody else gets in.",
                    "p",
                    "empty",
                )
            for one in found:
                with ui.element("div").classes("logged"):
                    words(one.name, "span", "figure")
                    words(f"{one.role}, {len(one.tokens)} tokens", "span", "where")
                    press("Remove", partial(self._remove, one.name), "quiet small", label=f"Remove {one.name}")

    def _accounts(self) -> tuple[Account, ...]:
        try:
            return self.desk.accounts.book.accounts
        except AccountRefused as error:
            self.told.say(Said("refused", str(error)))
            return ()

    async def _add(self) -> None:
        name, role, password = self.name.value.strip(), Role(self.role.value), self.password.value
        add = partial(self.desk.accounts.add, name, role, password, self.desk.clock.now())
        if await self._do(add, f"{name} may come in as {role}."):
            self._write_form()

    async def _remove(self, name: str) -> None:
        await self._do(partial(self.desk.accounts.remove, name), f"{name} may no longer come in.")

    async def _do(self, change: Callable[[], Any], done: str) -> bool:
        """Off the event loop: a password takes a while to be hashed. Returns whether it was done."""
        if not visitor().may_act:
            self.told.say(Said("refused", "Refused: you may look, not act; sign in as an operator."))
            return False
        try:
            await asyncio.to_thread(change)
        except AccountRefused as error:
            self.told.say(Said("refused", f"Refused: {error}. Nothing was changed."))
            return False
        self.told.say(Said("accepted", done))
        self._write()
        return True


class TokensPart:
    """One's own tokens, with the rights that one has oneself."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def draw(self) -> None:
        """For those who have an account."""
        with ui.element("section").classes("panel").props('aria-label="Tokens"'):
            words("Tokens for your programs", "h2")
            if visitor().by != "session":
                words("A token belongs to an account: sign in, and make one here.", "p", "empty")
                return
            words(
                "Sent as 'Authorization: Bearer ...' to the interface under /api/v1. Each is shown once.", "p", "hint"
            )
            self.place = ui.element("div")
            with ui.element("div").classes("fields"):
                self.label = Line("What for", such_as="the shed's display")
                self.expires = Line("Until", kind="datetime-local", help="Empty is until it is taken back.")
                press("Make a token", self._make, looks=True)
            self.told = Told()
            self.secret = words("", "pre", "paste secret")
            self.secret.set_visibility(False)
        self._write()

    def _write(self) -> None:
        self.place.clear()
        account = self.desk.accounts.book.find(visitor().name)
        with self.place:
            for one in account.tokens if account else ():
                until = when(one.expires, self.desk.live.plant.zone) if one.expires else "until taken back"
                with ui.element("div").classes("logged"):
                    words(one.label, "span", "figure")
                    words(f"made {when(one.made, self.desk.live.plant.zone)}, {until}", "span", "where")
                    label = f"Take back {one.label}"
                    press("Take back", partial(self._take_back, one.id), "quiet small", label=label, looks=True)

    def _make(self) -> None:
        try:
            expires = local_moment(self.expires.value, self.desk.live.plant.zone)
            shown = tokens.make(self.desk.accounts, visitor().name, self.label.value, self.desk.clock.now(), expires)
        except (AccountRefused, ValueError) as error:
            self.told.say(Said("refused", f"Refused: {error}. Nothing was changed."))
            return
        self.told.say(Said("accepted", "Write it down now: it is not shown again."))
        self.secret.set_text(shown.secret)
        self.secret.set_visibility(True)
        self._write()

    def _take_back(self, token: str) -> None:
        try:
            tokens.take_back(self.desk.accounts, visitor().name, token)
        except AccountRefused as error:
            self.told.say(Said("refused", f"Refused: {error}."))
            return
        self.told.say(Said("accepted", "It opens nothing from now on."))
        self.secret.set_visibility(False)
        self._write()
