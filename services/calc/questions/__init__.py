"""Every question that `coldside calc` answers, topic by topic."""

from services.calc.question import Question
from services.calc.questions import (
    carbonation,
    coolant,
    cylinder,
    draught,
    fermentation,
    freezing,
    gravity,
    probes,
    thermal,
    units,
    yeast,
)

TOPICS = (gravity, yeast, fermentation, freezing, carbonation, draught, cylinder, coolant, thermal, probes, units)

QUESTIONS: tuple[Question, ...] = tuple(question for topic in TOPICS for question in topic.QUESTIONS)
