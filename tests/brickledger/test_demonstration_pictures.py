"""The invented pictures on the site: attached once, however often the demonstration is repeated."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from brickledger.management import demonstration
from brickledger.management.demonstration_pictures import attach_pictures
from fixtures.scenario import scenario
from measurements import processing
from measurements.actions import accept_run, receive_run
from measurements.forms import RunForm
from measurements.models import Attachment

pytestmark = pytest.mark.django_db


def test_the_pictures_are_attached_once() -> None:
    scene = scenario(adapters=3)
    demonstration.write_catalogue(scene)
    demonstration.make_accounts()
    first = scene.adapters[0].slug
    log = next(run for run in scene.runs if (run.adapter, run.kind) == (first, "ripple"))
    assert attach_pictures(scene) == 2  # no run is accepted yet

    reviewer = User.objects.get(username="reviewer")
    form = RunForm({**log.fields, "adapter": first, "kind": "ripple"}, viewer=reviewer)
    assert form.is_valid(), form.errors
    run = receive_run(form.facts(), chunks=[log.content], file_name="log", by=reviewer).run
    processing.compute(run.pk)
    run.refresh_from_db()
    accept_run(run, by=User.objects.get(username="editor"))

    assert [attach_pictures(scene), attach_pictures(scene)] == [1, 0]
    kinds = Attachment.objects.present().order_by("added_at").values_list("kind", "run")
    assert list(kinds) == [
        ("photograph", None),
        ("photograph", None),
        ("scope-picture", run.pk),
    ]
