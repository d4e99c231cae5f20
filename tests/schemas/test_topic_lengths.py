"""How long a topic may be, and what may not be in it. OASIS MQTT 3.1.1, sections 1.5.3 and 4.7.3."""

import pytest

from schemas.topics import valid_filter, valid_topic

LONGEST_BYTES = 65535


@pytest.mark.parametrize("check", [valid_topic, valid_filter])
def test_topic_may_be_as_long_as_its_length_field_can_say(check):
    assert check("a" * LONGEST_BYTES)
    assert not check("a" * (LONGEST_BYTES + 1))


@pytest.mark.parametrize("check", [valid_topic, valid_filter])
def test_length_is_counted_in_bytes_of_utf_8(check):
    assert check("é" * (LONGEST_BYTES // 2))
    assert not check("é" * (LONGEST_BYTES // 2 + 1))


@pytest.mark.parametrize("check", [valid_topic, valid_filter])
@pytest.mark.parametrize("text", ["", "a\0b", "a/\ud800"], ids=["empty", "NUL", "half a surrogate pair"])
def test_what_utf_8_or_the_standard_forbids_is_no_topic(check, text):
    assert not check(text)
