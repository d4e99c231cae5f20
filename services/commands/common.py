"""What all commands share: the options that say which site is meant, and how errors and tables are shown."""

import getpass
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from random import Random
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer
from pydantic import ValidationError
from rich.console import Console

from schemas.quantities import QuantityError, magnitude
from schemas.requests import Accepted, Refused, RequestBase
from services.commands.client import Unreachable, Visit, new_request_id, this_moment, where

BROKER = Annotated[str, typer.Option("--broker", envvar="COLDSIDE_BROKER", help="Address, as mqtt://host:1883.")]
STATE = Annotated[Path, typer.Option("--state", envvar="COLDSIDE_STATE", help="Folder in which `up` keeps its state.")]
SITE = Annotated[str, typer.Option("--site", help="Needed only where several sites share a broker.")]
AS_JSON = Annotated[bool, typer.Option("--json", help="For programs.")]
WHO = Annotated[str, typer.Option("--who", envvar="COLDSIDE_WHO", help="Who asks; your login name unless given.")]
WHY = Annotated[str, typer.Option("--why", help="Kept in the journal.")]

out = Console(highlight=False)
err = Console(stderr=True, highlight=False)

USAGE = 2
TROUBLE = 1


def fail(text: str, code: int = TROUBLE) -> typer.Exit:
    """Tells on standard error what is wrong and what to do; to be raised."""
    err.print(text, style="bold red", markup=False, soft_wrap=True)
    return typer.Exit(code)


def show_json(value: Any) -> None:
    """One JSON document on standard output."""
    typer.echo(json.dumps(value, ensure_ascii=False))


@contextmanager
def visiting(broker: str, state: Path) -> Iterator[Visit]:
    """A connection to the broker that is meant; trouble ends the command with what to do."""
    try:
        with Visit(where(broker, state)) as visit:
            yield visit
    except (Unreachable, ValueError) as error:
        raise fail(str(error)) from error


@dataclass(frozen=True, slots=True)
class Asker:
    """Fills in what every request needs."""

    visit: Visit
    site: str
    who: str
    why: str

    def ask(self, kind: type[RequestBase], as_json: bool, **fields: Any) -> None:
        """Asks, and shows the answer; a refusal ends the command with status 1."""
        show_answer(self.visit.ask(self.site, self.request(kind, **fields)), as_json)

    def facts(self, kind: type[RequestBase], **fields: Any) -> dict[str, Any]:
        """The facts of the answer to a question; a refusal ends the command with status 1."""
        answer = self.visit.ask(self.site, self.request(kind, **fields))
        if isinstance(answer, Refused):
            raise fail(f"Refused: {because(answer)}")
        return dict(answer.facts)

    def request(self, kind: type[RequestBase], **fields: Any) -> RequestBase:
        """A request as this person makes it; what is wrong with it ends the command with status 2."""
        try:
            return kind(
                at=this_moment(),
                source="cli",
                id=new_request_id(Random()),
                client=self.visit.name,
                who=self.who or getpass.getuser(),
                why=self.why,
                **fields,
            )
        except ValidationError as error:
            raise fail(_what_is_wrong(error), USAGE) from error


@contextmanager
def asking(broker: str, state: Path, site: str, who: str, why: str) -> Iterator[Asker]:
    """A visit on which something will be asked."""
    with visiting(broker, state) as visit:
        yield Asker(visit, visit.site(site), who, why)


def _what_is_wrong(error: ValidationError) -> str:
    first = error.errors(include_url=False)[0]
    return f"{'.'.join(str(part) for part in first['loc'])} {first['input']!r}: {first['msg']}"


def show_answer(answer: Accepted | Refused, as_json: bool) -> None:
    """What the service said."""
    if as_json:
        show_json(answer.model_dump(mode="json"))
    elif isinstance(answer, Accepted):
        out.print(answer.detail or "Done.", markup=False)
    if isinstance(answer, Refused):
        raise fail(f"Refused: {because(answer)}")


def quantity(written: str, unit: str) -> float:
    """What a person wrote, in a unit; ends the command with what would be right."""
    try:
        return magnitude(written, unit)
    except QuantityError as error:
        raise fail(str(error), USAGE) from error


def because(answer: Refused) -> str:
    """Why, and what would be right."""
    return f"{answer.reason.rstrip('.')}; {answer.remedy}" if answer.remedy else answer.reason


def local(moment: datetime, zone: ZoneInfo | None = None) -> str:
    """A moment as people at the site write it."""
    return moment.astimezone(zone).strftime("%a %d %b %H:%M")
