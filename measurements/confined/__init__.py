"""Reading and computing a file in a process of its own, whose memory and time are limited.

No file can take down the process that asks: what is too much for the limits ends a child, not a
worker.
"""

from measurements.confined.jobs import Exhausted, Found, Job, Limits
from measurements.confined.parent import examine

__all__ = ["Exhausted", "Found", "Job", "Limits", "examine"]
