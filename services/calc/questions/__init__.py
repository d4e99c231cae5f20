"""Every question that `coldside calc` answers, topic by topic."""

from services.calc.question import Question
from services.calc.questions import carbonation, coolant, cylinder, draught, gravity, probes, thermal

TOPICS = (gravity, carbonation, draught, cylinder, coolant, thermal, probes)

QUESTIONS: tuple[Question, ...] = tuple(question for topic in TOPICS for question in topic.QUESTIONS)
