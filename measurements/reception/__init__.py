"""Files on their way in: kept at once, read for a preview, described, and handed in as runs."""

from measurements.reception.describing import describe, put_away
from measurements.reception.handing_in import hand_in
from measurements.reception.keeping import keep_arrival
from measurements.reception.questions import Asked, asked_of
from measurements.reception.reading import read_arrival, ring_arrival

__all__ = [
    "Asked",
    "asked_of",
    "describe",
    "hand_in",
    "keep_arrival",
    "put_away",
    "read_arrival",
    "ring_arrival",
]
