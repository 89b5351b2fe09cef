"""Use the ninth kind as people would, on a site of its own; prints what it saw as JSON.

Run in a process of its own: addresses, parameters and caches are made from the kinds that
are there when the site starts. Arguments: the folder that holds the kind's folder.
"""

from __future__ import annotations

import io
import json
import os
import sys
from pathlib import Path
from typing import Any

FILE = "load [%],hold-up [ms]\n50,41.5\n100,20.25\n"


def main(folder: str) -> dict[str, Any]:
    """Everything from the upload form to the sheet."""
    import measurements.kinds  # noqa: PLC0415 before the site starts

    measurements.kinds.__path__.append(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "brickledger.settings"
    import django  # noqa: PLC0415

    django.setup()
    return _used()


def _used() -> dict[str, Any]:
    # The app registry has to be there first.
    from django.conf import settings  # noqa: PLC0415
    from django.contrib.auth.models import User  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415
    from django.test import Client  # noqa: PLC0415

    from brickledger.roles import give_role  # noqa: PLC0415
    from measurements.processing import compute  # noqa: PLC0415

    settings.ALLOWED_HOSTS = ["testserver"]
    call_command("migrate", verbosity=0)
    editor = User.objects.create_user("editor")
    give_role(editor, "editor")
    site = Client()
    site.force_login(editor)
    made = site.post(
        "/api/v1/adapters/",
        json.dumps(
            {
                "maker": "Invented Makers",
                "name": "Nine",
                "rated_power_w": 65,
                "ports": [{"label": "C1", "connector": "usb-c", "rated_power_w": 65}],
            }
        ),
        content_type="application/json",
    ).json()
    slug = made["slug"]
    form = site.get(f"/runs/new/?adapter={slug}&kind=hold-up").content.decode()
    received = site.post(
        "/api/v1/runs/",
        {
            "adapter": slug,
            "kind": "hold-up",
            "mains_v": "230",
            "threshold_percent": "90",
            "file": io.BytesIO(FILE.encode()),
        },
    )
    run = received.json()["id"]
    state = compute(run)
    accepted = site.post(f"/api/v1/runs/{run}/accept/", "{}", content_type="application/json")
    anyone = Client()
    sheet = Path(settings.DATA_DIR) / "sheet.xlsx"
    call_command("sheet", slug, out=sheet, stdout=io.StringIO())
    from openpyxl import load_workbook  # noqa: PLC0415

    book = load_workbook(sheet)
    return {
        "form_asks": "threshold_percent" in form,
        "received": received.status_code,
        "state": state,
        "accepted": accepted.status_code,
        "run_page": anyone.get(f"/runs/{run}/").status_code,
        "chart": anyone.get(f"/runs/{run}/trace.svg").status_code,
        "method_page": "hold-up" in anyone.get("/methods/hold-up/").content.decode().lower(),
        "metrics": "hold-up-time"
        in [item["key"] for item in anyone.get("/api/v1/metrics/?limit=500").json()["results"]],
        "ranking_page": slug in anyone.get("/rankings/hold-up-time/").content.decode(),
        "ranking": anyone.get("/api/v1/rankings/hold-up-time/?line=high").json()["results"],
        "adapter_page": "20.3" in anyone.get(f"/adapters/{slug}/").content.decode()
        or "20.2" in anyone.get(f"/adapters/{slug}/").content.decode(),
        "sheet": [
            [cell.value for cell in row]
            for page in book
            for row in page.iter_rows()
            if any(cell.value == "hold_up_ms" for cell in row)
        ],
    }


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1])))
