"""A fingerprint of everything that is said in a rehearsal: equal for equal seeds, on every run.

python -m services.rehearsal.digest PLANT_FILE SEED HOURS
"""

import hashlib
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from schemas.contract import encode
from schemas.plant import Plant
from schemas.plant_file import load
from services.rehearsal.ensemble import on_stage
from services.rehearsal.past import barn_batches, start_request
from services.runtime.service import Outgoing

START = datetime(2026, 11, 2, 6, tzinfo=UTC)


def digest(plant: Plant, seed: int, span: timedelta) -> str:
    """SHA-256 over topics and payloads, in order, of all that every core and device said."""
    stage, _ = on_stage(plant, START, seed=seed)
    sha = hashlib.sha256()

    def take(outgoing: Outgoing, now: datetime) -> None:
        body = outgoing.body
        sha.update(outgoing.topic.encode())
        sha.update(body if isinstance(body, bytes) else encode(body))

    stage.witnesses.append(take)
    stage.ask(*(start_request(plant, one, START) for one in barn_batches() if one.chamber in plant.chambers))
    stage.run_until(START + span)
    return sha.hexdigest()


def main() -> None:
    """Prints the fingerprint."""
    path, seed, hours = sys.argv[1:4]
    print(digest(load(Path(path)), int(seed), timedelta(hours=float(hours))))


if __name__ == "__main__":
    main()
