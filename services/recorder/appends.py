"""Appending to a file: all of a record on disk, or nothing of it."""

import errno
import os
from pathlib import Path

from services.recorder.store import DiskFull, StoreError
from services.runtime.durable import sync_folder

_sync_content = getattr(os, "fdatasync", os.fsync)
"""What is needed to read it again, and not when it was written: half the work for the disk, where a system has it."""


def append(path: Path, record: bytes) -> int:
    """Returns where the record begins. Raises DiskFull or StoreError, and then the file is as it was."""
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    except OSError as error:
        raise _told(path, error) from error
    try:
        size = os.fstat(descriptor).st_size
        try:
            _write_all(descriptor, record)
            _sync_content(descriptor)
            if not size:
                sync_folder(path.parent)
            return size
        except OSError as error:
            os.ftruncate(descriptor, size)
            raise _told(path, error) from error
    finally:
        os.close(descriptor)


def _write_all(descriptor: int, record: bytes) -> None:
    left = memoryview(record)
    while left:
        left = left[os.write(descriptor, left) :]


def _told(path: Path, error: OSError) -> StoreError:
    full = error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
    return (DiskFull if full else StoreError)(f"{path}: {error.strerror}")
