"""Medians over a window that moves along a log."""

from __future__ import annotations

import numpy as np

from measurements.metrics import FloatArray
from measurements.metrics.gaps import BoolArray, pieces

_NANOSECONDS = 1e9


def highest_rolling_median(
    time: FloatArray, *, y: FloatArray, joined: BoolArray, window: float
) -> float | None:
    """Highest median that the readings reach over a window of time.

    Parameters
    ----------
    time : ndarray of float
        When the readings were taken, increasing. [s]
    y : ndarray of float
        The readings. [any unit]
    joined : ndarray of bool
        Which intervals are no gaps, one fewer than readings; a window never spans one. [-]
    window : float
        Length of the window, which is open at its start and closed at its end. [s]

    Returns
    -------
    highest : float or None
        Highest median of the windows that lie wholly in the log; None when no stretch is as long
        as the window. Where readings are further apart than the window, the highest reading but
        the first. [unit of `y`]

    References
    ----------
    .. [1] `common-practice`: a median ignores a spike shorter than half the window.

    Examples
    --------
    >>> t = np.arange(30.0)
    >>> power = np.where(t == 15, 99.0, 20.0)
    >>> highest_rolling_median(t, y=power, joined=np.ones(29, dtype=bool), window=10.0)
    20.0
    """
    import pandas as pd  # noqa: PLC0415, the site starts sooner without it

    highest: float | None = None
    for start, stop in pieces(joined):
        elapsed = time[start:stop] - time[start]
        whole = elapsed >= window
        if not np.any(whole):
            continue
        stamps = pd.to_datetime(np.round(elapsed * _NANOSECONDS).astype(np.int64))
        span = pd.Timedelta(round(window * _NANOSECONDS), unit="ns")
        medians = pd.Series(y[start:stop], index=stamps).rolling(span).median().to_numpy()
        found = float(np.max(medians[whole]))
        highest = found if highest is None else max(highest, found)
    return highest
