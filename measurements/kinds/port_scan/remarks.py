"""Remarks on a scan of ports."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from catalog.power_delivery.augmented import ReservedObject
from catalog.power_delivery.rules import Finding
from catalog.power_delivery.wording import listed
from measurements.kinds.base import Flag, Setup
from measurements.kinds.port_scan.scans import PortScan

_AUDIT: tuple[tuple[str, Literal["error", "warning"], Literal["warning", "note"]], ...] = (
    ("audit-errors", "error", "warning"),
    ("audit-warnings", "warning", "note"),
)


def remarks(
    scans: Sequence[PortScan], findings: Mapping[str, Sequence[Finding]], *, setup: Setup
) -> tuple[Flag, ...]:
    """All flags of a scan."""
    return (
        *_audit(findings),
        *_gaps(scans),
        *_reserved(scans),
        *_not_scanned(scans, setup=setup),
    )


def _audit(findings: Mapping[str, Sequence[Finding]]) -> Iterator[Flag]:
    for code, severity, flagged in _AUDIT:
        counts = {
            label: sum(item.severity == severity for item in found)
            for label, found in findings.items()
        }
        if total := sum(counts.values()):
            places = listed(f"{count} on {label}" for label, count in counts.items() if count)
            noun = severity if total == 1 else f"{severity}s"
            yield Flag(
                code,
                flagged,
                f"The audit of what the ports advertise finds {total} {noun}: {places}. The list "
                "with the rules and their sources stands below.",
            )


def _gaps(scans: Sequence[PortScan]) -> Iterator[Flag]:
    places = [f"{listed(map(str, scan.gaps))} of {scan.label}" for scan in scans if scan.gaps]
    if places:
        yield Flag(
            "position-gap",
            "warning",
            f"Not in the file, though later positions are: {listed(places)}. They are kept as "
            "zero words; scan again, or correct the positions.",
        )


def _reserved(scans: Sequence[PortScan]) -> Iterator[Flag]:
    places = [
        f"0x{item.word:08X} in position {item.position} of {scan.label}"
        for scan in scans
        for item in scan.objects
        if isinstance(item, ReservedObject)
    ]
    if places:
        yield Flag(
            "reserved-object",
            "note",
            f"Of a type that has no meaning yet, so kept as it is and not counted: "
            f"{listed(places)}.",
        )


def _not_scanned(scans: Sequence[PortScan], *, setup: Setup) -> Iterator[Flag]:
    scanned = {scan.label for scan in scans}
    missing = [port.label for port in setup.adapter.ports if port.label not in scanned]
    if missing:
        yield Flag(
            "port-not-scanned",
            "note",
            f"The file says nothing of {listed(missing)}; what an earlier run found there stands.",
        )
