"""What a scan found, as rows of text for its page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from catalog.power_delivery.augmented import ProgrammableSupply
from catalog.power_delivery.base import Kind
from catalog.power_delivery.objects import DataObject
from catalog.power_delivery.rules import RULES, Finding
from catalog.power_delivery.sources import Standing
from catalog.power_delivery.wording import listed
from measurements.kinds.base import Listing
from measurements.kinds.port_scan.scans import PortScan

_KIND_NAMES: Mapping[Kind, str] = {
    "fixed": "fixed",
    "battery": "battery",
    "variable": "variable",
    "pps": "programmable (PPS)",
    "avs-epr": "EPR adjustable (AVS)",
    "avs-spr": "SPR adjustable (AVS)",
    "padding": "padding",
    "reserved": "reserved",
}
_STANDINGS: Mapping[Standing, str] = {
    "seen": "",
    "secondary": "; read in a reproduction",
    "from memory": "; from memory",
    "common practice": "",
}
_NOTHING = "–"


def listings(
    scans: Iterable[PortScan], findings: Mapping[str, Sequence[Finding]]
) -> tuple[Listing, ...]:
    """Objects and audit of every port that sent words, then the protocols of all ports."""
    found: list[Listing] = []
    kept = tuple(scans)
    for scan in kept:
        if scan.objects:
            found.append(_objects(scan, audited=findings[scan.label]))
            found.extend(_audit(scan.label, findings[scan.label]))
    if any(scan.protocols for scan in kept):
        found.append(
            Listing(
                key="protocols",
                title="Protocols that the ports answered to",
                headings=("Port", "Protocols"),
                rows=tuple(
                    (scan.label, ", ".join(scan.protocols)) for scan in kept if scan.protocols
                ),
            )
        )
    return tuple(found)


def severity_counts(findings: Iterable[Finding]) -> str:
    """How many findings of each severity there are: ``2 errors and 1 note``."""
    counts = Counter(item.severity for item in findings)
    return listed(
        f"{counts[severity]} {severity}{'' if counts[severity] == 1 else 's'}"
        for severity in ("error", "warning", "note")
        if counts[severity]
    )


def _objects(scan: PortScan, *, audited: Sequence[Finding]) -> Listing:
    notes = []
    if any(isinstance(item, ProgrammableSupply) and item.power_limited for item in scan.usable):
        notes.append(
            "A power-limited programmable supply gives no more than the rated power of the port, "
            "wherever that is less than voltage times current."
        )
    if not audited:
        notes.append("The audit has nothing to remark.")
    return Listing(
        key=f"objects-{scan.label}",
        title=f"What {scan.label} advertises",
        headings=(
            "Position",
            "Kind",
            "Voltage [V]",
            "Current [A]",
            "Power [W]",
            "Flags",
            "Word",
        ),
        rows=tuple(_object_row(item) for item in scan.objects),
        numeric=(0, 2, 3, 4),
        note=" ".join(notes),
    )


def _object_row(item: DataObject) -> tuple[str, ...]:
    lowest, highest = item.voltage_min_v, item.voltage_max_v
    if lowest is None or highest is None or lowest == highest:
        voltage = _figure(highest)
    else:
        voltage = f"{lowest:g}–{highest:g}"
    return (
        str(item.position),
        _KIND_NAMES[item.kind],
        voltage,
        _figure(item.current_max_a),
        _figure(item.power_max_w),
        ", ".join(item.flags),
        f"0x{item.word:08X}",
    )


def _figure(value: float | None) -> str:
    return _NOTHING if value is None else f"{value:.6g}"


def _audit(label: str, findings: Sequence[Finding]) -> Iterable[Listing]:
    if findings:
        yield Listing(
            key=f"audit-{label}",
            title=f"Audit of {label}: {severity_counts(findings)}",
            headings=("Severity", "Rule", "Finding", "Source"),
            rows=tuple(_finding_row(item) for item in findings),
            note="An indication from what was read of the rules, never a certification.",
        )


def _finding_row(item: Finding) -> tuple[str, ...]:
    source = str(item.as_json()["source"])
    return (
        item.severity,
        RULES[item.rule].title,
        item.detail,
        f"{source}{_STANDINGS[item.standing]}",
    )
