"""Nothing secret has ever been put under version control."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SECRET = r"BEGIN ([A-Z]+ )?PRIVATE KEY-----|\$2[ab]\$[0-9]{2}\$[./A-Za-z0-9]{53}|\$7\$[0-9]+\$[A-Za-z0-9+/=]{16}\$"
"""A private key, a bcrypt hash, a line of mosquitto's password file."""
MARKS = ("BEGIN " + "PRIVATE KEY-----", "$2b$" + "04$" + "a" * 53, "$7$" + "101$" + "A" * 16 + "$")


@pytest.mark.parametrize("mark", MARKS)
def test_scan_finds_what_it_looks_for(mark: str) -> None:
    assert re.search(SECRET, mark)


def test_no_version_of_any_file_holds_a_secret() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("no history here: this is a copy of the files alone")
    command = ["git", "-c", "safe.directory=*", "log", "--all", "--extended-regexp", f"-G{SECRET}", "--format=%h %s"]
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=True)
    assert not found.stdout
