"""Topics: built and parsed in one place, and matched as OASIS MQTT 3.1.1, section 4.7 says, against its own examples.

`tests/reference/mqtt_topics.csv` names its source beside each row.
"""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.topics import (
    SHAPES,
    Address,
    TopicKind,
    every,
    everything,
    matches,
    parse,
    simulated_probe,
    simulated_relay,
    topic,
    valid_filter,
    valid_topic,
)

TABLE = Path(__file__).parent.parent / "reference" / "mqtt_topics.csv"
BEYOND_3_1_1 = {"shared subscription filter part"}
"""MQTT 5 only; we use nothing that 3.1.1 lacks."""
CHECKS = {
    "topic filter match": lambda given: matches(given["filter"], given["topic"]),
    "topic filter validity": lambda given: valid_filter(SPELT_OUT.get(given["filter"], given["filter"])),
    "topic name validity (publish)": lambda given: valid_topic(given["topic"]),
}
SPELT_OUT = {'"a" x 65536': "a" * 65536}
"""The table writes a filter that is one byte too long as a sum."""
LEVELS = st.sampled_from(["", "a", "b", "aa", "$x", "é"])
TOPICS = st.lists(LEVELS, min_size=1, max_size=5).map("/".join)
FILTERS = st.lists(LEVELS | st.just("+"), min_size=1, max_size=5).flatmap(
    lambda levels: st.sampled_from(["/".join(levels), "/".join([*levels, "#"]), "#"])
)
NAMES = st.from_regex(r"[a-z0-9]([a-z0-9-]{0,8}[a-z0-9])?", fullmatch=True)


def rows():
    with TABLE.open(newline="", encoding="utf-8") as table:
        return [row for row in csv.DictReader(table) if row["quantity"] not in BEYOND_3_1_1]


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_published_examples_hold(row):
    assert CHECKS[row["quantity"]](json.loads(row["inputs"])) is (row["expected"] == "True"), row["source"]


def test_every_published_example_is_checked():
    assert len(rows()) == 52


def oracle(wanted: list[str], levels: list[str]) -> bool:
    """The rules of section 4.7.1, read aloud: level by level, with nothing clever."""
    if not wanted:
        return not levels
    if wanted[0] == "#":
        return True
    if not levels:
        return False
    return wanted[0] in ("+", levels[0]) and oracle(wanted[1:], levels[1:])


@given(FILTERS, TOPICS)
def test_matching_agrees_with_a_naive_reading_of_the_rules(topic_filter, topic_name):
    """Section 4.7.2: a wildcard in first place takes no topic that begins with `$`."""
    hidden = topic_name.startswith("$") and topic_filter[0:1] in ("+", "#")
    expected = not hidden and oracle(topic_filter.split("/"), topic_name.split("/"))
    assert matches(topic_filter, topic_name) is expected


@given(TOPICS)
def test_topic_without_wildcards_matches_itself_and_nothing_longer(topic_name):
    assert matches(topic_name, topic_name)
    assert not matches(topic_name, topic_name + "/more")


@given(FILTERS, TOPICS, LEVELS.filter(bool))
def test_what_ends_in_a_hash_takes_in_all_that_is_deeper(topic_filter, topic_name, level):
    if topic_filter.endswith("#") and matches(topic_filter, topic_name):
        assert matches(topic_filter, f"{topic_name}/{level}")


@given(st.sampled_from(TopicKind), NAMES, st.data())
def test_every_topic_that_is_built_parses_back(kind, site, data):
    names = tuple(data.draw(NAMES) for _ in SHAPES[kind].levels)
    assert parse(topic(site, kind, *names)) == Address(site, kind, names)


@given(st.sampled_from(TopicKind), NAMES, st.data())
def test_filters_of_a_kind_take_in_its_topics_and_no_other_kinds(kind, site, data):
    names = tuple(data.draw(NAMES) for _ in SHAPES[kind].levels)
    built = topic(site, kind, *names)
    takers = {other for other in TopicKind if matches(every(site, other), built)}
    assert takers == {kind}
    assert matches(every(site, kind, names[0]), built)
    assert matches(everything(site), built)


@pytest.mark.parametrize(
    "foreign",
    ["", "coldside", "coldside/barn", "coldside/barn/reading", "coldside/barn/reading/ale",
     "coldside/barn/nonsense/a/b", "coldside/barn/reading/ale/beer/more",
     "coldside//reading/ale/beer", "coldside/barn/reading//beer",
     "other/barn/reading/ale/beer", "garage/node3/probes", "/coldside/barn/status/ale"],
)  # fmt: skip
def test_foreign_topic_is_none_of_ours(foreign):
    assert parse(foreign) is None


@pytest.mark.parametrize("name", ["", "a/b", "+", "#", "a+", "a b", "a\0"])
def test_name_that_could_not_stand_in_a_topic_is_refused(name):
    with pytest.raises(ValueError, match="cannot be a topic level"):
        topic("barn", TopicKind.STATUS, name)


def test_wrong_number_of_names_is_refused_with_what_is_needed():
    with pytest.raises(ValueError, match="needs chamber/probe"):
        topic("barn", TopicKind.READING, "ale")


def test_simulated_devices_speak_under_a_root_that_is_none_of_ours():
    assert parse(simulated_probe("barn", "ale", "beer")) is None
    assert parse(simulated_relay("barn", "ale", "cool")) is None
    assert not matches(everything("barn"), simulated_probe("barn", "ale", "beer"))


@given(st.sampled_from(TopicKind))
def test_built_topics_can_be_published_and_their_filters_subscribed_to(kind):
    assert valid_topic(topic("barn", kind, *("x" for _ in SHAPES[kind].levels)))
    assert valid_filter(every("barn", kind))
