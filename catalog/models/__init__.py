"""What is tested, and the trail of writes over every door."""

from catalog.models.catalogue import (
    JOINT,
    Adapter,
    AdapterQuerySet,
    Device,
    LabelClaim,
    Maker,
    Port,
    Protocol,
    Unit,
    Viewer,
    sees_unpublished,
    whole_combination,
)
from catalog.models.writes import KEPT_FOR, Write

__all__ = [
    "JOINT",
    "KEPT_FOR",
    "Adapter",
    "AdapterQuerySet",
    "Device",
    "LabelClaim",
    "Maker",
    "Port",
    "Protocol",
    "Unit",
    "Viewer",
    "Write",
    "sees_unpublished",
    "whole_combination",
]
