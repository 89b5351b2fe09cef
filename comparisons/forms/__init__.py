"""Forms of rankings, comparisons and overlays."""

from comparisons.forms.comparisons import ComparisonForm, as_data
from comparisons.forms.filters import AdapterListForm
from comparisons.forms.overlays import OverlayForm
from comparisons.forms.rankings import RankingForm, unknown_parameters

__all__ = [
    "AdapterListForm",
    "ComparisonForm",
    "OverlayForm",
    "RankingForm",
    "as_data",
    "unknown_parameters",
]
