"""The audit of what a source advertises: every rule over every object, gravest finding first."""

from __future__ import annotations

import math
from collections.abc import Sequence

from catalog.power_delivery.claims import Claim, claim_findings
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.obligations import obligation_findings
from catalog.power_delivery.plausibility import plausibility_findings
from catalog.power_delivery.rules import Finding
from catalog.power_delivery.structure import structure_findings


def audit(
    objects: Sequence[DataObject],
    *,
    rated_power_w: float | None = None,
    port_rated_power_w: float | None = None,
    claims: Sequence[Claim] = (),
) -> tuple[Finding, ...]:
    """Compare what a port advertises with the source rules, its rating and its label.

    The result is an indication from what was read of the rules, never a certification.

    Parameters
    ----------
    objects : sequence of DataObject
        The objects of one port; their positions decide the order. [V, A and W]
    rated_power_w : float, optional
        Rating of the whole adapter; bounds what a port may offer. [W]
    port_rated_power_w : float, optional
        Rating of this port; with it, the source power rules are applied to it. Of an adapter
        with one port it is the rating of the adapter. [W]
    claims : sequence of Claim, optional
        What the label prints of this port. [V and A]

    Returns
    -------
    findings : tuple of Finding
        Errors first, then warnings, then notes, each by position. [-]

    Raises
    ------
    ValueError
        If a rating is not a number above 0.
    """
    for name, power_w in (
        ("rated_power_w", rated_power_w),
        ("port_rated_power_w", port_rated_power_w),
    ):
        if power_w is not None and not (math.isfinite(power_w) and power_w > 0):
            raise ValueError(f"{name} must be a number above 0 W, not {power_w:g}")
    ordered = sorted(objects, key=lambda item: item.position)
    findings = list(structure_findings(ordered))
    findings += plausibility_findings(ordered)
    if any(item.ranges for item in ordered):
        findings += obligation_findings(
            ordered, rated_power_w=rated_power_w, port_rated_power_w=port_rated_power_w
        )
    findings += claim_findings(ordered, claims=claims)
    return tuple(sorted(findings, key=lambda item: (item.gravity, item.positions)))
