"""The comparisons app."""

from __future__ import annotations

from django.apps import AppConfig


class ComparisonsConfig(AppConfig):
    """Registers the comparisons app."""

    name = "comparisons"
