"""Forms of rankings, comparisons and overlays."""

from comparisons.forms.comparisons import (
    ComparisonForm,
    MetricChoice,
    as_data,
    metric_sections,
)
from comparisons.forms.overlays import OverlayForm
from comparisons.forms.rankings import MAX_POWER_W, RankingForm, unknown_parameters

__all__ = [
    "MAX_POWER_W",
    "ComparisonForm",
    "MetricChoice",
    "OverlayForm",
    "RankingForm",
    "as_data",
    "metric_sections",
    "unknown_parameters",
]
