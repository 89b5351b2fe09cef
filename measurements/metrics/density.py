"""How much rated power an adapter packs into its body."""

from __future__ import annotations

CUBIC_MILLIMETRES_PER_CUBIC_CENTIMETRE = 1000.0


def power_density(
    rated_power_w: float, *, length_mm: float, width_mm: float, height_mm: float
) -> float:
    """Rated power over the volume of the box that just holds the body.

    Parameters
    ----------
    rated_power_w : float
        Rated output power. [W]
    length_mm, width_mm, height_mm : float
        Outer dimensions of the body without plug pins and cord. [mm]

    Returns
    -------
    density : float
        Power density. [W/cm³]

    Raises
    ------
    ValueError
        If a dimension is not positive.

    Notes
    -----
    A body with rounded edges fills less than its box; the box is what a bag must have room for.

    References
    ----------
    .. [1] `common-practice`: rated power over outer volume.

    Examples
    --------
    >>> round(power_density(140, length_mm=69, width_mm=73, height_mm=31.5), 2)
    0.88
    """
    if not (length_mm > 0 and width_mm > 0 and height_mm > 0):
        raise ValueError("Length, width and height must be more than 0 mm.")
    volume_cm3 = length_mm * width_mm * height_mm / CUBIC_MILLIMETRES_PER_CUBIC_CENTIMETRE
    return rated_power_w / volume_cm3


def specific_power(rated_power_w: float, *, mass_g: float) -> float:
    """Rated power over mass.

    Parameters
    ----------
    rated_power_w : float
        Rated output power. [W]
    mass_g : float
        Mass of the body with its plug pins, without a detachable cord. [g]

    Returns
    -------
    power : float
        Specific power. [W/g]

    Raises
    ------
    ValueError
        If the mass is not positive.

    References
    ----------
    .. [1] `common-practice`: rated power over mass.

    Examples
    --------
    >>> specific_power(100, mass_g=200)
    0.5
    """
    if not mass_g > 0:
        raise ValueError("The mass must be more than 0 g.")
    return rated_power_w / mass_g
