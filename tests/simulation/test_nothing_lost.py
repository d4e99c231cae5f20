"""Promise 9 in virtual time: what the bridge said is in the history, whoever was killed meanwhile."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from random import Random

import pytest

from services.recorder.rows import Annotation, Sample, SeriesKind
from services.rehearsal.ensemble import on_stage
from services.rehearsal.faults import draw_outages, play
from services.rehearsal.past import barn_batches, start_request
from tests.simulation.test_promises import BARN, KILLABLE, SPAN, START
from tests.simulation.watcher import Watcher


@dataclass(slots=True)
class Kept:
    """A sink that remembers which readings and journal lines it was given."""

    readings: set[tuple[str, str, int]] = field(default_factory=set)
    annotations: set[str] = field(default_factory=set)

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        self.readings |= {
            (one.series.chamber, one.series.name, one.at_ms) for one in samples if one.series.kind == SeriesKind.READING
        }
        self.annotations |= {one.id for one in annotations}


@pytest.mark.parametrize("seed", range(4))
def test_every_reading_is_recorded_though_services_are_killed(seed: int) -> None:
    kept = Kept()
    stage, ensemble = on_stage(BARN, START, seed=seed, sink=kept, keep_every=timedelta(seconds=5))
    watcher = Watcher(ensemble.plant)
    stage.witnesses.append(watcher.hear)
    stage.ask(*(start_request(BARN, one, stage.now) for one in barn_batches()))
    play(stage, draw_outages(Random(seed), KILLABLE, START, SPAN, count=8), START + SPAN)
    stage.run_until(stage.now + timedelta(minutes=1))
    said = {(chamber, probe, round(at.timestamp() * 1000)) for chamber, probe, at in watcher.readings}
    assert len(said) > 5000
    assert said - kept.readings == set()
