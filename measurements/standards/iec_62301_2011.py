"""IEC 62301, edition 2 (2011): measurement of standby and no-load power.

Ambient and supply conditions were read in summaries of the edition. The numbers of the sampling
method are from memory and were not verified against the published text. Edition 3 (2026) exists and
was not seen; nothing here claims to be it.
"""

from __future__ import annotations

from measurements.standards.rows import Method, Standing

TITLE = "IEC 62301:2011"

METHOD_230_V = Method(
    mains_v=230.0,
    mains_hz=50.0,
    mains_tolerance_percent=1.0,
    ambient_c=23.0,
    ambient_tolerance_k=5.0,
    source="iec-62301",
)

SAMPLING_STANDING: Standing = "from memory"

# Sampling method, clause 5.3.2: from memory.
SHORTEST_RECORD_S = 15 * 60.0
LONGEST_SPACING_S = 1.0
DISCARDED_SHARE = 1 / 3

# The drift [W/h] from which on a record is not stable: absolute up to 1 W, then 1 % of the
# mean power per hour. From memory.
STABILITY_BOUNDARY_W = 1.0
LARGEST_DRIFT_W_PER_H = 0.010
LARGEST_RELATIVE_DRIFT_PER_H = 0.01

# Largest expanded uncertainty (95 %) allowed to an instrument: 0.02 W below 1 W,
# 2 % from there on. From memory.
UNCERTAINTY_BOUNDARY_W = 1.0
LARGEST_UNCERTAINTY_W = 0.02
LARGEST_RELATIVE_UNCERTAINTY = 0.02
