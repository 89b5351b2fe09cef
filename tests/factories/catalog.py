"""Adapters for tests."""

from __future__ import annotations

from contextlib import nullcontext
from typing import Any
from unittest.mock import patch

from django.db.models import Model

from catalog.actions import ClaimFacts, PortFacts, get_maker, save_adapter
from catalog.models import Adapter


def make_adapter(
    name: str = "Solo 65",
    *,
    maker: str = "Northfold",
    rated_power_w: float = 65.0,
    ports: tuple[PortFacts, ...] = (PortFacts("C1", "usb-c", 65.0),),
    claims: tuple[ClaimFacts, ...] = (),
    sound: bool = True,
    **facts: Any,
) -> Adapter:
    """A saved adapter, written through the same action as every other one.

    It has a body and a mass unless told otherwise, so that values of the catalogue stand
    beside those of runs, as they do for most adapters. Constraints of facts that are known to be
    `sound` are left to the database alone: to look at each beforehand, so that people get a
    sentence, is one query a constraint and was a quarter of the time of tests with adapters.
    """
    facts = {"length_mm": 60.0, "width_mm": 60.0, "height_mm": 30.0, "mass_g": 120.0, **facts}
    adapter = Adapter(maker=get_maker(maker), name=name, rated_power_w=rated_power_w, **facts)
    with patch.object(Model, "validate_constraints") if sound else nullcontext():
        return save_adapter(adapter, ports=ports, claims=claims)
