"""Stages of a charge against the reference search of the library `ruptures`.

`pw_constant`, the library's documented generator of piecewise constant signals, gives the true
changes; `Dynp` with the model ``l2`` finds the exact optimum for a known number of changes by
dynamic programming, another way than the penalised search that this project uses.
"""

from __future__ import annotations

import numpy as np
import pytest
import ruptures as rpt
from ruptures.metrics import hausdorff

from measurements.metrics.stages import power_stages

SECONDS = 3600


@pytest.mark.parametrize("changes", [1, 3, 5])
@pytest.mark.parametrize("noise_w", [0.2, 1.5])
@pytest.mark.parametrize("seed", [3, 17])
def test_the_changes_are_those_of_generator_and_exact_search(
    changes: int, noise_w: float, seed: int
) -> None:
    signal, true = rpt.pw_constant(
        n_samples=SECONDS, n_features=1, n_bkps=changes, noise_std=noise_w, delta=(8, 20), seed=seed
    )
    power = 150 + signal[:, 0]
    time = np.arange(float(SECONDS))
    stages = power_stages(time, power=power, joined=np.ones(SECONDS - 1, dtype=bool))
    found = [int(stage.start) for stage in stages[1:]] + [SECONDS]
    assert len(found) == len(true)
    assert all(stage.steady for stage in stages)
    # At the strongest noise a step of five deviations is placed to a few readings.
    assert hausdorff(found, true) <= 3
    # The exact search costs the square of the places it may choose from; means of ten readings
    # and every second place are enough: 10 s at most from the true one, and 3 s as above.
    thinned = power[: SECONDS // 10 * 10].reshape(-1, 10).mean(axis=1)
    exact = rpt.Dynp(model="l2", min_size=6, jump=2).fit(thinned).predict(n_bkps=changes)
    assert hausdorff([edge * 10 for edge in exact], found) <= 13
