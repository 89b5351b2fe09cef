"""The invented pictures, put on the site by the action of every other attachment."""

from __future__ import annotations

from django.contrib.auth.models import User

from catalog.models import Adapter
from fixtures.scenario import Scenario
from fixtures.scenario.pictures import demo_pictures
from measurements.attaching import attach
from measurements.models import Run


def attach_pictures(scene: Scenario) -> int:
    """Attach what is not there yet, as the editor; the number that is new."""
    editor = User.objects.get(username="editor")
    new = 0
    for picture in demo_pictures(scene.adapters):
        to: Adapter | Run | None = Adapter.objects.get(slug=picture.adapter)
        if picture.run_kind:
            to = (
                Run.objects.filter(
                    adapter__slug=picture.adapter,
                    kind=picture.run_kind,
                    standing=Run.Standing.ACCEPTED,
                )
                .order_by("-measured_at", "pk")
                .first()
            )
        if to is None:
            continue
        added = attach(
            picture.content,
            to=to,
            kind=picture.kind,
            title=picture.title,
            file_name=picture.file_name,
            by=editor,
        )
        new += added.created
    return new
