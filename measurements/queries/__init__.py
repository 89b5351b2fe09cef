"""Reading across models, for pages, API, charts and workers alike.

One function serves every surface, so that they cannot disagree.
"""

from measurements.queries.arrivals import (
    column_map_applied,
    column_maps_in_use,
    column_maps_of,
)
from measurements.queries.calibrations import calibration_flags
from measurements.queries.plans import (
    Planned,
    leaders_first,
    plan_setup,
    planned_runs,
)
from measurements.queries.ports import (
    PROFILE_COUNT,
    PortCapability,
    ScannedPort,
    port_capabilities,
    scanned_ports,
)
from measurements.queries.runs import (
    QueueReport,
    queue_report,
    raw_store,
    run_page,
    runs_listed,
    stands,
    values_of,
)
from measurements.queries.setups import (
    adapter_facts,
    devices_known,
    run_to_compute,
    setup_of,
    setup_with,
)
from measurements.queries.values import (
    begun_since,
    condition_in_words,
    counts_tables,
    current_values,
    method_of,
    metrics_listed,
    physical_measures,
    value_row,
)

__all__ = [
    "PROFILE_COUNT",
    "Planned",
    "PortCapability",
    "QueueReport",
    "ScannedPort",
    "adapter_facts",
    "begun_since",
    "calibration_flags",
    "column_map_applied",
    "column_maps_in_use",
    "column_maps_of",
    "condition_in_words",
    "counts_tables",
    "current_values",
    "devices_known",
    "leaders_first",
    "method_of",
    "metrics_listed",
    "physical_measures",
    "plan_setup",
    "planned_runs",
    "port_capabilities",
    "queue_report",
    "raw_store",
    "run_page",
    "run_to_compute",
    "runs_listed",
    "scanned_ports",
    "setup_of",
    "setup_with",
    "stands",
    "value_row",
    "values_of",
]
