"""The demonstration's three curves, from their raw files through the door to the overlay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pytest
from django.contrib.auth.models import User
from django.test import Client

from brickledger.management.demonstration import make_accounts, write_catalogue
from catalog.models import Device
from comparisons.queries.charge_overlays import Axis, Overlay, overlay
from comparisons.queries.charge_runs import standing_charges
from fixtures.scenario import scenario
from fixtures.scenario.devices import LAPTOP
from fixtures.scenario.port_plans import COINCIDES, DIFFERS, REFERENCE
from measurements.actions import accept_run, receive_run
from measurements.forms import RunForm
from measurements.processing import compute

pytestmark = pytest.mark.django_db


@dataclass(frozen=True, slots=True)
class Told:
    """The story on the site: the device, and the adapters by their part in it."""

    device: Device
    slugs: Mapping[int, str]

    def laid(self, by: Axis) -> Overlay:
        """The curve that coincides and the one that differs over the reference."""
        standing = standing_charges(self.device, viewer=None)
        runs = [standing[self.slugs[index]][1] for index in (REFERENCE, COINCIDES, DIFFERS)]
        return overlay(self.device, runs, reference=runs[0], by=by, viewer=None)


@pytest.fixture
def told(db: None) -> Told:
    scene = scenario(adapters=3)
    make_accounts()
    write_catalogue(scene)
    reviewer, editor = (User.objects.get(username=name) for name in ("reviewer", "editor"))
    for run in scene.runs:
        if run.kind != "charge" or run.fields["device"] != LAPTOP.slug:
            continue
        said = {"adapter": run.adapter, "kind": "charge", "instruments": list(run.instruments)}
        form = RunForm({**said, **run.fields}, viewer=reviewer)
        assert form.is_valid(), form.errors
        received = receive_run(
            form.facts(), chunks=[run.content], file_name=run.file_name, by=reviewer
        ).run
        assert compute(received.pk) == "ready"
        received.refresh_from_db()
        accept_run(received, by=editor)
    slugs = {index: scene.adapters[index].slug for index in (REFERENCE, COINCIDES, DIFFERS)}
    return Told(Device.objects.get(slug=LAPTOP.slug), slugs)


@pytest.mark.parametrize("by", ["time", "level"])
def test_one_curve_differs_in_nothing_and_the_other_in_several_quantities(
    told: Told, by: Axis
) -> None:
    found = told.laid(by)
    _, near, far = found.curves
    assert found.warnings == ()
    assert found.repeats["charge-mean-power"].degrees_of_freedom == 2
    assert len(near.judged) == len(far.judged) == 7
    assert near.differing == ()
    assert {item.metric.key for item in far.differing} >= {
        "charge-to-20",
        "charge-to-50",
        "charge-to-80",
        "charge-mean-power",
        "charge-peak-power",
    }
    assert near.against is not None
    assert far.against is not None
    assert near.against.largest < 1
    assert near.against.mean_absolute < 0.2
    assert far.against.mean_absolute > 15


def test_the_page_tells_the_story(told: Told, client: Client) -> None:
    slugs = told.slugs
    query = "&".join(f"adapter={slugs[index]}" for index in (REFERENCE, COINCIDES, DIFFERS))
    page = client.get(f"/charges/{told.device.slug}/?{query}").content.decode()
    assert "It does not differ from the reference" in page
    assert "It differs from the reference in time to 20 %" in page
    assert "230 V 50 Hz" in page
