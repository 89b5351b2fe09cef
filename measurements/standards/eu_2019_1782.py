"""Commission Regulation (EU) 2019/1782, Annex II, applied since 2020-04-01, up to 250 W.

Read in the retained United Kingdom copy. The no-load limit of an adaptive supply, and that the
United States method for adaptive supplies is acceptable as an example, were read in the
Commission's list of questions on the regulation.
"""

from __future__ import annotations

from measurements.standards import us_doe_appendix_z_2022 as appendix_z
from measurements.standards.iec_62301_2011 import METHOD_230_V
from measurements.standards.rows import Curve, LimitRow, Scheme

_NO_LOAD = "Annex II, no-load condition power consumption"
_AVERAGE = "Annex II, average active efficiency"
_ADAPTIVE = (
    "For an adaptive supply the Commission's published answers on the regulation apply 0.21 W in "
    "place of the table's 0.10 W."
)

EU_2019_1782 = Scheme(
    key="eu-2019-1782",
    title="Regulation (EU) 2019/1782",
    source="eu-2019-1782",
    lowest_power_w=0.0,
    highest_power_w=250.0,
    method=METHOD_230_V,
    adaptive_method=appendix_z.SOURCE,
    rows=(
        LimitRow(
            "no-load-power",
            "basic",
            0,
            49,
            Curve(0.10),
            _NO_LOAD,
            "seen",
            adaptive_note=_ADAPTIVE,
            adaptive_w=0.21,
        ),
        LimitRow("no-load-power", "basic", 49, 250, Curve(0.21), _NO_LOAD, "seen"),
        LimitRow(
            "no-load-power",
            "low",
            0,
            49,
            Curve(0.10),
            _NO_LOAD,
            "seen",
            adaptive_note=_ADAPTIVE,
            adaptive_w=0.21,
        ),
        LimitRow("no-load-power", "low", 49, 250, Curve(0.21), _NO_LOAD, "seen"),
        LimitRow("no-load-power", "multiple", 0, 250, Curve(0.30), _NO_LOAD, "seen"),
        LimitRow("average-efficiency", "basic", 0, 1, Curve(0.16, linear=0.5), _AVERAGE, "seen"),
        LimitRow(
            "average-efficiency",
            "basic",
            1,
            49,
            Curve(0.67, linear=-0.0014, log=0.071),
            _AVERAGE,
            "seen",
        ),
        LimitRow("average-efficiency", "basic", 49, 250, Curve(0.880), _AVERAGE, "seen"),
        LimitRow("average-efficiency", "low", 0, 1, Curve(0.087, linear=0.517), _AVERAGE, "seen"),
        LimitRow(
            "average-efficiency",
            "low",
            1,
            49,
            Curve(0.609, linear=-0.0014, log=0.0834),
            _AVERAGE,
            "seen",
        ),
        LimitRow("average-efficiency", "low", 49, 250, Curve(0.870), _AVERAGE, "seen"),
        LimitRow(
            "average-efficiency", "multiple", 0, 1, Curve(0.067, linear=0.497), _AVERAGE, "seen"
        ),
        LimitRow(
            "average-efficiency", "multiple", 1, 49, Curve(0.561, log=0.075), _AVERAGE, "seen"
        ),
        LimitRow("average-efficiency", "multiple", 49, 250, Curve(0.860), _AVERAGE, "seen"),
    ),
)
