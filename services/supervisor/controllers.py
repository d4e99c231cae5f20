"""Which controller a chamber gets."""

from services.supervisor.control import Controller, Rules
from services.supervisor.decide import BeerController
from services.supervisor.reservoir import BathController


def controller_for(rules: Rules) -> Controller:
    """The controller of this kind of chamber, with safe defaults until it has learnt better."""
    return BathController(rules) if rules.kind == "reservoir" else BeerController(rules)
