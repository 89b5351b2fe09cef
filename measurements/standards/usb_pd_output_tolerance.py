"""How far the output of a USB Power Delivery source may lie from a fixed voltage it advertises.

0.95 to 1.05 of the voltage at the source's receptacle, from no load to the advertised current.
Common practice, and the specification's number from memory: it was not verified against the
published text. The wider range that is allowed for a moment after a step of load is not part of it.
"""

from __future__ import annotations

from measurements.standards.rows import Standing

KEY = "usb-pd-output"
TITLE = "USB Power Delivery, output tolerance"
CLAUSE = "new source voltage of a fixed supply, 95 % to 105 %"
SOURCE = "common-practice"
STANDING: Standing = "from memory"
TOLERANCE_PERCENT = 5.0
NOTE = (
    "Common practice: the tolerance holds at the receptacle of a USB Power Delivery port, for a "
    "fixed voltage that it advertises, from no load to the advertised current."
)
