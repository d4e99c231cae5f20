"""Records in a file that is only ever appended to: each with its length and checksum, found again after damage."""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

MARK = b"\xc5fr\x01"
_HEAD = struct.Struct("<4sIIQ")
"""Mark, length of the body, checksum of body and moment, and the moment that the record is about, in ms."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One record. `begins` and `ends` are places in the file."""

    begins: int
    ends: int
    at_ms: int
    body: bytes


def framed(body: bytes, at_ms: int) -> bytes:
    """A record as it stands in the file."""
    return _HEAD.pack(MARK, len(body), _sum(body, at_ms), at_ms) + body


def frames(content: bytes, begins: int = 0) -> Iterator[Frame]:
    """Every whole record from a place on. What is damaged is skipped up to the next record that is whole."""
    while (place := content.find(MARK, begins)) >= 0:
        frame = _frame_at(content, place)
        if frame is None:
            begins = place + 1
        else:
            yield frame
            begins = frame.ends


def torn_at(content: bytes) -> int:
    """Where a record begins whose writing was cut short at the end of the file; the file's length when none does."""
    ends = max((frame.ends for frame in frames(content)), default=0)
    rest = content[ends:]
    cut_short = len(rest) < _HEAD.size or _HEAD.unpack_from(rest)[1] > len(rest) - _HEAD.size
    begins_as_record = MARK.startswith(rest[: len(MARK)]) if len(rest) < len(MARK) else rest.startswith(MARK)
    return ends if rest and cut_short and begins_as_record else len(content)


def damaged_bytes(content: bytes) -> int:
    """How many bytes belong to no whole record, those of a record that was cut short at the end not counted."""
    content = content[: torn_at(content)]
    return len(content) - sum(frame.ends - frame.begins for frame in frames(content))


def _frame_at(content: bytes, place: int) -> Frame | None:
    if place + _HEAD.size > len(content):
        return None
    _, length, checksum, at_ms = _HEAD.unpack_from(content, place)
    begins = place + _HEAD.size
    body = content[begins : begins + length]
    if len(body) < length or _sum(body, at_ms) != checksum:
        return None
    return Frame(place, begins + length, at_ms, body)


def _sum(body: bytes, at_ms: int) -> int:
    return zlib.crc32(body, zlib.crc32(at_ms.to_bytes(8, "little")))
