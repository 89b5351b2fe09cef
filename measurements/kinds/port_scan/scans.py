"""What a checked table says of every port."""

from __future__ import annotations

import math
from dataclasses import dataclass

from catalog.power_delivery.augmented import Padding, ReservedObject
from catalog.power_delivery.capability import highest_power_w
from catalog.power_delivery.objects import DataObject, decode
from catalog.power_delivery.words import parse_word
from measurements.intake.columns import Table
from measurements.kinds.base import PortFacts, Setup
from measurements.kinds.port_labels import port_label

LARGEST_POSITION = 13
"""Last position that a request can name; from memory. The audit remarks on more than 11."""

_SPR_POSITIONS = 7


@dataclass(frozen=True, slots=True)
class PortScan:
    """A port as it was scanned.

    `label` is the catalogue's, `facts` its entry where the adapter has one of that label;
    `objects` are those that were read, by position, `protocols` in the order of the file.
    """

    label: str
    facts: PortFacts | None
    objects: tuple[DataObject, ...]
    protocols: tuple[str, ...]

    @property
    def words(self) -> tuple[int, ...]:
        """The words by position, 0 where nothing was read."""
        read = {item.position: item.word for item in self.objects}
        return tuple(read.get(place, Padding.word) for place in range(1, max(read, default=0) + 1))

    @property
    def usable(self) -> tuple[DataObject, ...]:
        """The objects that offer something: neither padding nor of a type without meaning."""
        return tuple(
            item for item in self.objects if not isinstance(item, Padding | ReservedObject)
        )

    @property
    def top_power_w(self) -> float:
        """Highest power [W] that an object allows."""
        return highest_power_w(self.usable)

    @property
    def gaps(self) -> tuple[int, ...]:
        """Positions that were not read although a later one was.

        Above the last object of the standard range the source itself leaves positions open, so
        that the extended ones begin at 8.
        """
        read = {item.position for item in self.objects}
        last = max((place for place in read if place <= _SPR_POSITIONS), default=_SPR_POSITIONS)
        return tuple(
            place
            for place in range(1, max(read, default=0) + 1)
            if place not in read and not last < place <= _SPR_POSITIONS
        )


def protocol_slug(text: str) -> str:
    """A protocol the way the vocabulary is written: lower case, hyphens for blanks."""
    return "-".join(text.casefold().replace("_", " ").split())


def scans_of(table: Table, setup: Setup) -> tuple[PortScan, ...]:
    """Every port with a word or a protocol: those of the catalogue first, in its order."""
    ports = setup.adapter.ports
    spelled: dict[str, str] = {}
    objects: dict[str, list[DataObject]] = {}
    protocols: dict[str, list[str]] = {}
    words = table.texts.get("word", ("",) * len(table))
    slugs = [protocol_slug(text) for text in table.texts.get("protocol", ("",) * len(table))]
    for row, text in enumerate(table.texts["port"]):
        if not (words[row] or slugs[row]):
            continue
        label = port_label(text, ports=ports) or spelled.setdefault(text.casefold(), text)
        read = objects.setdefault(label, [])
        if words[row]:
            place = position_at(table, row) or len(read) + 1
            read.append(decode(parse_word(words[row]), position=place))
        if slugs[row] and slugs[row] not in protocols.setdefault(label, []):
            protocols[label].append(slugs[row])
    facts = {port.label: port for port in ports}
    order = [label for label in facts if label in objects]
    order += [label for label in objects if label not in facts]
    return tuple(
        PortScan(
            label=label,
            facts=facts.get(label),
            objects=tuple(sorted(objects[label], key=lambda item: item.position)),
            protocols=tuple(protocols.get(label, ())),
        )
        for label in order
    )


def position_at(table: Table, row: int) -> int | None:
    """The position in a row of a checked table, None where it gives none."""
    if "position" not in table:
        return None
    position = float(table["position"][row])
    return None if math.isnan(position) else int(position)
