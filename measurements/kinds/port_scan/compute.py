"""Highest power and number of profiles of every scanned port, and the audit of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from catalog.power_delivery.audit import audit
from catalog.power_delivery.capability import highest_power_w
from catalog.power_delivery.claims import Claim
from catalog.power_delivery.rules import Finding
from measurements.intake.columns import Table
from measurements.kinds.base import Condition, Details, Measured, Outcome, Setup
from measurements.kinds.coverage import POINTS
from measurements.kinds.port_scan.figure import figure, trace
from measurements.kinds.port_scan.listings import listings
from measurements.kinds.port_scan.remarks import remarks
from measurements.kinds.port_scan.scans import PortScan, scans_of

# An object of which the audit says this cannot be taken at its word.
_IMPLAUSIBLE = frozenset({"current-above-cable", "voltage-above-range", "range-reversed"})


def measure(table: Table, setup: Setup) -> Outcome:
    """Everything that a checked scan gives."""
    scans = scans_of(table, setup)
    findings = {scan.label: _findings(scan, setup=setup) for scan in scans if scan.objects}
    offers = any(scan.usable for scan in scans)
    return Outcome(
        values=tuple(
            value for scan in scans for value in _values(scan, findings.get(scan.label, ()))
        ),
        flags=remarks(scans, findings, setup=setup),
        verdicts=(),
        trace=trace(scans) if offers else {},
        plot=figure(scans) if offers else None,
        details=Details(facts=_facts(scans), listings=listings(scans, findings)),
    )


def _values(scan: PortScan, findings: Sequence[Finding]) -> list[Measured]:
    condition = Condition(port=scan.label)
    values = []
    # Words say nothing of the other protocols of a port, nor the other way round: whatever the
    # file is silent about keeps what an earlier scan found.
    if scan.objects:
        values += [
            Measured("profile-count", float(len(scan.usable)), 0.0, condition),
            Measured(
                "top-pdo-power", scan.top_power_w, 0.0, condition, apart=_apart(scan, findings)
            ),
        ]
    if scan.protocols:
        values.append(Measured("protocol-count", float(len(scan.protocols)), 0.0, condition))
    return values


def _apart(scan: PortScan, findings: Sequence[Finding]) -> str:
    """Why the highest power cannot be compared: it comes from an object nobody can deliver."""
    powers = {item.position: item.power_max_w or 0.0 for item in scan.objects}
    doubtful = {
        position: finding.detail
        for finding in findings
        if finding.rule in _IMPLAUSIBLE
        for position in finding.positions
    }
    plausible = [item for item in scan.usable if item.position not in doubtful]
    if not doubtful or highest_power_w(plausible) >= scan.top_power_w:
        return ""
    strongest = max(doubtful, key=lambda position: powers[position])
    return f"The highest power is that of an implausible object. {doubtful[strongest]}"


def _findings(scan: PortScan, *, setup: Setup) -> tuple[Finding, ...]:
    adapter = setup.adapter
    alone = len(adapter.ports) == 1
    rated = None if scan.facts is None else scan.facts.rated_power_w
    if rated is None and alone:
        rated = adapter.rated_power_w
    return audit(
        scan.objects,
        rated_power_w=adapter.rated_power_w,
        port_rated_power_w=rated,
        claims=[
            Claim(voltage_v=item.voltage_v, current_a=item.current_a)
            for item in adapter.advertised
            if item.source == "label" and (item.port == scan.label or (not item.port and alone))
        ],
    )


def _facts(scans: Sequence[PortScan]) -> Mapping[str, list[Mapping[str, object]]]:
    return {
        "ports": [
            {
                "port": scan.label,
                "words": [f"0x{word:08X}" for word in scan.words],
                "unread": list(scan.gaps),
                "protocols": list(scan.protocols),
            }
            for scan in scans
        ],
        POINTS: [_point(scan) for scan in scans],
    }


def _point(scan: PortScan) -> Mapping[str, object]:
    """The planned rows of a port: those of its words only when they were read."""
    return {"port": scan.label} if scan.objects else {"port": scan.label, "position": 0.0}
