"""How the United States test method loads an adaptive external power supply.

10 CFR 430 Subpart B Appendix Z, as of 87 FR 51221, 2022-08-19. Read. Conditions of mains, room and
warm-up stand with Level VI, whose test method this is.
"""

from __future__ import annotations

SOURCE = "us-doe-appendix-z"

# An adaptive supply is measured at its highest and at its lowest nameplate output voltage. At the
# lowest one, a USB Power Delivery port is loaded by these currents [A] in place of shares of its
# nameplate current, and counts as a supply of that voltage at the first of them.
USB_STEPS_A = (2.0, 1.5, 1.0, 0.5)
# The lowest fixed voltage [V] of every USB Power Delivery source.
USB_LOWEST_V = 5.0

# Which supply the method calls a USB Power Delivery one: no output above the highest voltage [V],
# at least this current [A] at the lowest, and at most these currents at three other voltages.
USB_HIGHEST_V = 20.0
USB_LEAST_A_AT_LOWEST = 3.0
USB_MOST_A = ((9.0, 3.0), (15.0, 3.0), (20.0, 5.0))
