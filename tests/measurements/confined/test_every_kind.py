"""Limits change nothing: every kind gives, bit by bit, what it gives in a process without them."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from fixtures.scenario import scenario
from measurements.confined import Found, Job, Limits, examine, parent
from measurements.kinds import all_kinds
from tests.fixtures.computing import accuracies_of, devices_of, facts_of, setup_of

ROOT = Path(__file__).parents[3]
KINDS = [kind.slug for kind in all_kinds()]
LOOK = """
import pickle, sys
from measurements.confined.work import look
jobs = pickle.load(sys.stdin.buffer)
found = {kind: look(job, told=lambda _words: None) for kind, job in jobs.items()}
pickle.dump(found, sys.stdout.buffer)
"""


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Job]:
    """A file of the demo for every kind."""
    demo, folder = scenario(adapters=12), tmp_path_factory.mktemp("demo")
    bench = {item.catalogue.slug: item for item in demo.runs.bench}
    jobs = {}
    for run in demo.runs:
        if run.kind in jobs or run.then != "accept":
            continue
        path = folder / run.kind
        path.write_bytes(run.content)
        setup = setup_of(
            run,
            facts_of(bench[run.adapter]),
            accuracies=accuracies_of(demo),
            devices=devices_of(demo),
        )
        jobs[run.kind] = Job(path=path, file_name=run.file_name, kind=run.kind, setup=setup)
    return jobs


@pytest.fixture(scope="module")
def unlimited(jobs: Mapping[str, Job]) -> Mapping[str, Found]:
    """What another process makes of the files, with as many threads for its numerics: one.

    How a sum is shared out among threads decides about its last bit.
    """
    done = subprocess.run(
        [sys.executable, "-c", LOOK],
        input=pickle.dumps(jobs),
        cwd=ROOT,
        env={**os.environ, **parent._ENVIRONMENT, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=True,
    )
    found: Mapping[str, Found] = pickle.loads(done.stdout)
    return found


@pytest.mark.parametrize("kind", KINDS)
def test_a_demo_file_gives_the_same_bits(
    jobs: Mapping[str, Job], unlimited: Mapping[str, Found], kind: str
) -> None:
    limited = examine(jobs[kind], limits=Limits(memory_bytes=1536 << 20, cpu_s=60))
    here, apart = unlimited[kind].outcome, limited.outcome

    assert here is not None
    assert apart is not None
    assert apart.values == here.values
    assert (apart.flags, apart.verdicts) == (here.flags, here.verdicts)
    assert (apart.plot, apart.details) == (here.plot, here.details)
    assert apart.trace.keys() == here.trace.keys()
    for name, column in here.trace.items():
        assert apart.trace[name].tobytes() == column.tobytes()
    for told in ("notes", "evidence", "sample"):
        assert getattr(limited, told) == getattr(unlimited[kind], told)
