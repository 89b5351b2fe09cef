"""Level VI: United States energy conservation standard for external power supplies.

10 CFR 430.32(w), AC-DC, in force since 2016-02-10; test method 10 CFR 430 Subpart B Appendix Z.
The basic and low-voltage rows were read in a reproduction of the table; the multiple-voltage row is
from memory, and equals the row of (EU) 2019/1782 that was seen.
"""

from __future__ import annotations

from math import inf

from measurements.standards import us_doe_appendix_z_2022 as appendix_z
from measurements.standards.rows import Curve, LimitRow, Method, Scheme

_CLAUSE = "10 CFR 430.32(w)"
_ADAPTIVE = (
    "The test method measures an adaptive supply at its highest and at its lowest output voltage; "
    "the row of the rated power given here is applied."
)

METHOD = Method(
    mains_v=115.0,
    mains_hz=60.0,
    mains_tolerance_percent=1.0,
    ambient_c=20.0,
    ambient_tolerance_k=5.0,
    source=appendix_z.SOURCE,
    warm_up_min=30.0,
)

LEVEL_VI = Scheme(
    key="level-vi",
    title="Level VI (United States)",
    source="us-doe-level-vi",
    lowest_power_w=0.0,
    highest_power_w=inf,
    method=METHOD,
    adaptive_method=appendix_z.SOURCE,
    rows=(
        LimitRow(
            "no-load-power",
            "basic",
            0,
            49,
            Curve(0.100),
            _CLAUSE,
            "secondary",
            adaptive_note=_ADAPTIVE,
        ),
        LimitRow(
            "no-load-power",
            "basic",
            49,
            250,
            Curve(0.210),
            _CLAUSE,
            "secondary",
            adaptive_note=_ADAPTIVE,
        ),
        LimitRow(
            "no-load-power",
            "basic",
            250,
            inf,
            Curve(0.500),
            _CLAUSE,
            "secondary",
            adaptive_note=_ADAPTIVE,
        ),
        LimitRow(
            "no-load-power",
            "low",
            0,
            49,
            Curve(0.100),
            _CLAUSE,
            "secondary",
            adaptive_note=_ADAPTIVE,
        ),
        LimitRow(
            "no-load-power",
            "low",
            49,
            250,
            Curve(0.210),
            _CLAUSE,
            "secondary",
            adaptive_note=_ADAPTIVE,
        ),
        LimitRow(
            "no-load-power",
            "low",
            250,
            inf,
            Curve(0.500),
            _CLAUSE,
            "secondary",
            adaptive_note=_ADAPTIVE,
        ),
        LimitRow("no-load-power", "multiple", 0, inf, Curve(0.300), _CLAUSE, "from memory"),
        LimitRow(
            "average-efficiency", "basic", 0, 1, Curve(0.16, linear=0.5), _CLAUSE, "secondary"
        ),
        LimitRow(
            "average-efficiency",
            "basic",
            1,
            49,
            Curve(0.67, linear=-0.0014, log=0.071),
            _CLAUSE,
            "secondary",
        ),
        LimitRow("average-efficiency", "basic", 49, 250, Curve(0.880), _CLAUSE, "secondary"),
        LimitRow("average-efficiency", "basic", 250, inf, Curve(0.875), _CLAUSE, "secondary"),
        LimitRow(
            "average-efficiency", "low", 0, 1, Curve(0.087, linear=0.517), _CLAUSE, "secondary"
        ),
        LimitRow(
            "average-efficiency",
            "low",
            1,
            49,
            Curve(0.609, linear=-0.0014, log=0.0834),
            _CLAUSE,
            "secondary",
        ),
        LimitRow("average-efficiency", "low", 49, 250, Curve(0.870), _CLAUSE, "secondary"),
        LimitRow("average-efficiency", "low", 250, inf, Curve(0.875), _CLAUSE, "secondary"),
        LimitRow(
            "average-efficiency",
            "multiple",
            0,
            1,
            Curve(0.067, linear=0.497),
            _CLAUSE,
            "from memory",
        ),
        LimitRow(
            "average-efficiency", "multiple", 1, 49, Curve(0.561, log=0.075), _CLAUSE, "from memory"
        ),
        LimitRow("average-efficiency", "multiple", 49, inf, Curve(0.860), _CLAUSE, "from memory"),
    ),
)
