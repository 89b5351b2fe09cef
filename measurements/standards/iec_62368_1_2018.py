"""IEC 62368-1:2018, Table 38: touch temperatures of accessible parts.

Judged at 25 °C ambient and not recalculated to another ambient. The plastic values 48, 77 and 94 °C
were read in a public discussion of the table; every other value is from memory and was not verified
against the published text.
"""

from __future__ import annotations

from measurements.standards.rows import TouchLimit

KEY = "iec-62368-1"
TITLE = "IEC 62368-1:2018 touch temperature"
SOURCE = "iec-62368-1"

AMBIENT_C = 25.0

HELD = "over 1 min"
HELD_BRIEFLY = "10 s to 1 min"
TOUCHED = "1 s to 10 s"
NOT_TOUCHED = "under 1 s"
CONTACTS = (HELD, HELD_BRIEFLY, TOUCHED, NOT_TOUCHED)
"""Every duration of contact, longest first, as the rows of the table stand."""

# A plug-in adapter is gripped for a few seconds when it is unplugged. Which row applies is a
# judgement; this one is stated wherever a verdict is shown.
DEFAULT_CONTACT = TOUCHED

TS1: tuple[TouchLimit, ...] = (
    TouchLimit("metal", HELD, 48, "from memory"),
    TouchLimit("glass", HELD, 48, "from memory"),
    TouchLimit("plastic", HELD, 48, "secondary"),
    TouchLimit("wood", HELD, 48, "from memory"),
    TouchLimit("metal", HELD_BRIEFLY, 51, "from memory"),
    TouchLimit("glass", HELD_BRIEFLY, 56, "from memory"),
    TouchLimit("plastic", HELD_BRIEFLY, 60, "from memory"),
    TouchLimit("wood", HELD_BRIEFLY, 60, "from memory"),
    TouchLimit("metal", TOUCHED, 60, "from memory"),
    TouchLimit("glass", TOUCHED, 71, "from memory"),
    TouchLimit("plastic", TOUCHED, 77, "secondary"),
    TouchLimit("wood", TOUCHED, 107, "from memory"),
    TouchLimit("metal", NOT_TOUCHED, 70, "from memory"),
    TouchLimit("glass", NOT_TOUCHED, 85, "from memory"),
    TouchLimit("plastic", NOT_TOUCHED, 94, "secondary"),
    TouchLimit("wood", NOT_TOUCHED, 140, "from memory"),
)

TS2: tuple[TouchLimit, ...] = (
    TouchLimit("metal", HELD, 58, "from memory"),
    TouchLimit("glass", HELD, 58, "from memory"),
    TouchLimit("plastic", HELD, 58, "from memory"),
    TouchLimit("wood", HELD, 58, "from memory"),
    TouchLimit("metal", HELD_BRIEFLY, 61, "from memory"),
    TouchLimit("glass", HELD_BRIEFLY, 66, "from memory"),
    TouchLimit("plastic", HELD_BRIEFLY, 70, "from memory"),
    TouchLimit("wood", HELD_BRIEFLY, 70, "from memory"),
    TouchLimit("metal", TOUCHED, 70, "from memory"),
    TouchLimit("glass", TOUCHED, 81, "from memory"),
    TouchLimit("plastic", TOUCHED, 87, "from memory"),
    TouchLimit("wood", TOUCHED, 117, "from memory"),
    TouchLimit("metal", NOT_TOUCHED, 80, "from memory"),
    TouchLimit("glass", NOT_TOUCHED, 95, "from memory"),
    TouchLimit("plastic", NOT_TOUCHED, 104, "from memory"),
    TouchLimit("wood", NOT_TOUCHED, 150, "from memory"),
)
