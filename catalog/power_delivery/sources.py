"""The sources that this package rests on, and how much of each was read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Standing = Literal["seen", "secondary", "from memory", "common practice"]
"""How a rule was obtained: read in the named source, read in a reproduction of it, neither, or
a habit of the trade that no source states. A rule from memory is never shown without saying so."""


@dataclass(frozen=True, slots=True)
class Source:
    """A published work. `note` says how much of it was read and what was not."""

    key: str
    title: str
    edition: str
    note: str


_ALL = (
    Source(
        "usb-pd",
        "USB Power Delivery Specification",
        "revision 3.2",
        "Not read. What is attributed to it is from memory and not verified against the text.",
    ),
    Source(
        "usb-pd-message-order",
        "USB Power Delivery Specification, section 6.4.1",
        "revision 3.x",
        "Read in a published summary of the section: order of the kinds, seven objects at most.",
    ),
    Source(
        "usb-pd-source-rules",
        "USB Power Delivery Specification, source power rules",
        "revisions 3.0 and 3.1",
        "Rows up to 100 W read in a semiconductor maker's course; the power levels above in a "
        "trade magazine of April 2022. Lower voltages of the rows above 100 W are from memory.",
    ),
    Source(
        "linux-usb-pd-header",
        "Linux kernel, include/linux/usb/pd.h",
        "torvalds/linux, commit 8744b49e5755",
        "Read: types, shifts, masks and steps of fixed, battery, variable and programmable.",
    ),
    Source(
        "linux-usb-pd-adjustable",
        "Linux kernel patch, tcpm: parse and log AVS APDO",
        "version 2, 2025-10-15",
        "Read: fields and steps of both adjustable supplies.",
    ),
    Source(
        "linux-tcpm",
        "Linux kernel, drivers/usb/typec/tcpm/tcpm.c",
        "checks of source and sink capabilities",
        "Read: first object, order of fixed, battery, variable and programmable, duplicates.",
    ),
    Source(
        "linux-programmable-range",
        "Linux kernel, drivers/usb/typec",
        "commit c710d0bb76ff",
        "Read: the programmable range that goes by 9 V, 3.3 to 11 V.",
    ),
    Source(
        "fuchsia-usb-pd-objects",
        "Fuchsia operating system, header of USB Power Delivery message objects",
        "after revision 3.1, version 1.7",
        "Read: flags of the first object, bit 23 among them; peak current codes.",
    ),
    Source(
        "common-practice",
        "Common practice of the trade",
        "no published source",
        "What people who read such scans look out for; nothing to be checked against.",
    ),
)

SOURCES: Mapping[str, Source] = {source.key: source for source in _ALL}
