"""Every adapter that a reference device was tried with, as arrays: power, share, times, size.

The device's best is the most that any adapter gave it. An adapter charges it at full speed when
it gives at least nine tenths of that, by the rule of the match rate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from catalog.models import Adapter, Device, Viewer
from comparisons.queries.cohorts import Cohort, Filters, load_cohorts, standing_values
from comparisons.queries.device_sizes import Sizes, adapter_sizes
from comparisons.ranking import BoolArray, FloatArray, IntArray, differs
from measurements.kinds import all_metrics
from measurements.kinds.base import Condition
from measurements.kinds.device_match.rate import MATCHED_SHARE, NO_POWER_W, is_matched

POWER = "matched-power"
MILESTONES = ("charge-to-50", "charge-to-80", "charge-to-full")
# Every computed charge gives it, however early its log ends.
PEAK = "charge-peak-power"
METRICS = (POWER, *MILESTONES, PEAK)


@dataclass(frozen=True, slots=True)
class Trials:
    """Parallel arrays, an element an adapter, in no order; NaN where nothing comparable stands.

    `power_w` is what the device drew and `power_u` its standard uncertainty [W]; `share` that
    over the device's best [1]; `full` whether it charges at full speed, by the values as they
    are; `sure` whether the uncertainty leaves no doubt of that, `stated` whether it is known, its
    own and the best's. `times` are milestones [min] by metric. `best_w` is NaN where nothing gave
    the device any power. `measured` is of how many the power is known, whatever filters leave.
    """

    device: Device
    adapter_ids: IntArray
    power_w: FloatArray
    power_u: FloatArray
    share: FloatArray
    full: BoolArray
    sure: BoolArray
    stated: BoolArray
    times: Mapping[str, FloatArray]
    sizes: Sizes
    best_w: float
    best_u: float
    best_id: int | None
    measured: int

    def __len__(self) -> int:
        return len(self.adapter_ids)

    @property
    def has_power(self) -> BoolArray:
        """Whose power is known, so that there is something to compare."""
        return ~np.isnan(self.power_w)

    def only(self, chosen: BoolArray | IntArray) -> Trials:
        """Some of the adapters, or all of them in an order; the best stays the device's."""
        return replace(
            self,
            adapter_ids=self.adapter_ids[chosen],
            power_w=self.power_w[chosen],
            power_u=self.power_u[chosen],
            share=self.share[chosen],
            full=self.full[chosen],
            sure=self.sure[chosen],
            stated=self.stated[chosen],
            times={key: values[chosen] for key, values in self.times.items()},
            sizes=self.sizes.only(chosen),
        )


def device_trials(
    device: Device, *, viewer: Viewer, filters: Filters | None = None, tables: bool = False
) -> Trials:
    """All adapters that the device was tried with and that this viewer may know of.

    A fixed number of queries; without filters most of them are spared while nothing changes.
    Filters leave out adapters, never the device's best.
    """
    declared, condition = all_metrics(), Condition(device=device.slug)
    cohorts = load_cohorts(
        [(declared[key], condition) for key in METRICS], viewer=viewer, tables=tables
    )
    by_metric = {key: cohorts[key, condition.key] for key in METRICS}
    apart = standing_values(viewer=viewer, as_of=None).filter(
        metric__in=METRICS, condition_key=condition.key
    )
    set_apart = apart.exclude(apart="").values_list("adapter_id", flat=True)
    ids = np.unique(
        np.concatenate(
            [
                *(cohort.adapter_ids for cohort in by_metric.values()),
                np.array(list(set_apart), dtype=np.int64),
            ]
        )
    )
    trials = _trials(device, ids, by_metric)
    if filters is None or filters.is_open:
        return trials
    passing = filters.adapters_among(Adapter.objects.visible_to(viewer))
    kept = np.fromiter(passing.values_list("pk", flat=True).iterator(), dtype=np.int64)
    return trials.only(np.isin(ids, kept))


def _trials(device: Device, ids: IntArray, by_metric: Mapping[str, Cohort]) -> Trials:
    powers, sizes = by_metric[POWER], adapter_sizes()
    power, uncertainty = (
        _aligned(powers, powers.values, ids),
        _aligned(powers, powers.uncertainties, ids),
    )
    charges = len(powers) and float(powers.values[0]) >= NO_POWER_W
    best = float(powers.values[0]) if charges else float("nan")
    best_u = float(powers.uncertainties[0]) if charges else float("nan")
    full = np.array([is_matched(value, best_w=best) for value in power.tolist()], dtype=np.bool_)
    sure = differs(
        power,
        uncertainty,
        other=MATCHED_SHARE * best,
        other_uncertainty=MATCHED_SHARE * best_u,
    )
    # A difference to what is not known is no difference; the best is certain to match.
    stated = ~np.isnan(uncertainty + best_u)
    return Trials(
        device=device,
        adapter_ids=ids,
        power_w=power,
        power_u=uncertainty,
        share=power / best,
        full=full,
        sure=(sure & stated) | (power == best),
        stated=stated,
        times={key: _aligned(by_metric[key], by_metric[key].values, ids) for key in MILESTONES},
        sizes=sizes.only(np.searchsorted(sizes.adapter_ids, ids)),
        best_w=best,
        best_u=best_u,
        best_id=int(powers.adapter_ids[0]) if charges else None,
        measured=len(powers),
    )


def _aligned(cohort: Cohort, values: FloatArray, ids: IntArray) -> FloatArray:
    """The values of a cohort in the order of `ids`; NaN for those that are not in it."""
    found = np.full(len(ids), np.nan)
    found[np.searchsorted(ids, cohort.adapter_ids)] = values
    return found
