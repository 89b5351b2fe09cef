"""``openapi``: the description of the API as a file, to be read with the code it was made from."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand

from brickledger.api_description import DOCUMENT, description


class Command(BaseCommand):
    """Write the description anew; a test compares it with the code."""

    help = "Writes the OpenAPI description of the API to brickledger/openapi.json."

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the file and name it."""
        text = json.dumps(description(), indent=1, ensure_ascii=False)
        DOCUMENT.write_text(f"{text}\n", encoding="utf-8")
        self.stdout.write(f"{DOCUMENT.name}: {len(description()['paths'])} addresses.")
