"""Which adapters charge a device at full speed, and which of those is the smallest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from catalog.models import Adapter
from comparisons.queries.device_trials import Trials
from comparisons.ranking import FloatArray, IntArray, expanded, near_ties

NAMED = 12
"""So many adapters a sentence names; the table has them all."""

SMALLEST_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Sized:
    """An adapter that charges at full speed, with volume [cm³], mass [g] and U; None unknown."""

    adapter: Adapter
    volume_cm3: float | None
    volume_expanded: float | None
    mass_g: float | None
    mass_expanded: float | None
    share: float
    sure: bool


@dataclass(frozen=True, slots=True)
class Answers:
    """What the trials say. Adapters are those that give the most first, or the smallest first.

    `measured` is of how many the power is known, `tried` how many of them filters leave; `best`
    may be among the others.
    `full` names the first of `full_count`, `near` of `near_count`, whose speed the uncertainty
    leaves open; of `unstated` nobody knows how sure it is. `alike` cannot be told from the first
    of `smallest` by volume, `lightest_alike` from the lightest by mass; `unsized` is how many of
    the fast ones have no size in the catalogue, `unweighed` no mass.
    """

    tried: int
    measured: int
    best: Adapter | None
    best_w: float
    best_expanded: float | None
    full: tuple[Adapter, ...]
    full_count: int
    near: tuple[Adapter, ...]
    near_count: int
    unstated: int
    smallest: tuple[Sized, ...]
    alike: tuple[Sized, ...]
    smallest_sure: Sized | None
    lightest: Sized | None
    lightest_alike: tuple[Sized, ...]
    unsized: int
    unweighed: int


def device_answers(trials: Trials) -> Answers:
    """The answers, in one query for the adapters that they name."""
    measured = trials.has_power
    by_power = np.argsort(-trials.power_w, kind="stable")
    full = by_power[(trials.full & measured)[by_power]]
    charging = measured & ~np.isnan(trials.share)
    near = by_power[(charging & trials.stated & ~trials.sure)[by_power]]
    volumes = _ordered(full, trials.sizes.volume_cm3)
    masses = _ordered(full, trials.sizes.mass_g)
    alike = _alike(volumes, trials.sizes.volume_cm3, trials.sizes.volume_u)
    alike_by_mass = _alike(masses, trials.sizes.mass_g, trials.sizes.mass_u)
    sure = volumes[trials.sure[volumes]][:1]
    named = np.concatenate(
        [
            full[:NAMED],
            near[:NAMED],
            volumes[:SMALLEST_SHOWN],
            alike,
            sure,
            masses[:1],
            alike_by_mass,
        ]
    )
    wanted = {int(pk) for pk in trials.adapter_ids[named]} | ({trials.best_id} - {None})
    adapters = Adapter.objects.select_related("maker").in_bulk(list(wanted))

    def of(positions: IntArray) -> tuple[Adapter, ...]:
        return tuple(adapters[int(trials.adapter_ids[position])] for position in positions)

    def sized(positions: IntArray) -> tuple[Sized, ...]:
        return tuple(_sized(trials, int(position), adapters) for position in positions)

    return Answers(
        tried=int(measured.sum()),
        measured=trials.measured,
        best=None if trials.best_id is None else adapters[trials.best_id],
        best_w=trials.best_w,
        best_expanded=None if np.isnan(trials.best_u) else expanded(trials.best_u),
        full=of(full[:NAMED]),
        full_count=len(full),
        near=of(near[:NAMED]),
        near_count=len(near),
        unstated=int((charging & ~trials.stated & ~trials.sure).sum()),
        smallest=sized(volumes[:SMALLEST_SHOWN]),
        alike=sized(alike),
        smallest_sure=next(iter(sized(sure)), None),
        lightest=next(iter(sized(masses[:1])), None),
        lightest_alike=sized(alike_by_mass),
        unsized=len(full) - len(volumes),
        unweighed=len(full) - len(masses),
    )


def _ordered(positions: IntArray, sizes: FloatArray) -> IntArray:
    """The positions whose size is known, smallest first."""
    known = positions[~np.isnan(sizes[positions])]
    return known[np.argsort(sizes[known], kind="stable")]


def _alike(ordered: IntArray, sizes: FloatArray, uncertainties: FloatArray) -> IntArray:
    """Those that cannot be told from the first by size, at most as many as a sentence names."""
    if not len(ordered):
        return ordered
    found = near_ties(sizes[ordered], uncertainties[ordered], position=0)
    return ordered[found][:NAMED]


def _sized(trials: Trials, position: int, adapters: Mapping[int, Adapter]) -> Sized:
    sizes = trials.sizes
    return Sized(
        adapter=adapters[int(trials.adapter_ids[position])],
        volume_cm3=_known(sizes.volume_cm3[position]),
        volume_expanded=expanded(_known(sizes.volume_u[position])),
        mass_g=_known(sizes.mass_g[position]),
        mass_expanded=expanded(_known(sizes.mass_u[position])),
        share=float(trials.share[position]),
        sure=bool(trials.sure[position]),
    )


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
