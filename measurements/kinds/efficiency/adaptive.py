"""At which voltages and by which loads an adaptive supply is judged.

10 CFR 430 Subpart B Appendix Z measures a supply of negotiated voltage at its highest and at its
lowest output voltage, each for itself. The European Commission's published answers name that method
as an acceptable one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from measurements.kinds.advertised import SAME_VOLTAGE_V, advertised_current, advertised_outputs
from measurements.kinds.base import Setup
from measurements.kinds.efficiency.outputs import Output
from measurements.metrics.efficiency import AVERAGED_LOADS, nominal_load
from measurements.metrics.uncertainty import AS_READ
from measurements.standards import us_doe_appendix_z_2022 as appendix_z

STEPS = "2, 1.5, 1 and 0.5 A"


@dataclass(frozen=True, slots=True)
class Ends:
    """The voltages of an adaptive supply [V], lowest first, two of which are judged.

    `usb` tells that the port speaks USB Power Delivery, as far as its connector shows.
    """

    voltages: tuple[float, ...]
    usb: bool

    @property
    def lowest_v(self) -> float:
        """The lowest output voltage [V]."""
        return self.voltages[0]

    @property
    def highest_v(self) -> float:
        """The highest output voltage [V]."""
        return self.voltages[-1]

    def include(self, voltage_v: float) -> bool:
        """Whether the voltage [V] is the highest or the lowest."""
        return _same(voltage_v, self.lowest_v) or _same(voltage_v, self.highest_v)

    def ask_for_steps(self, voltage_v: float) -> bool:
        """Whether the method loads this voltage [V] by amperes: the lowest of a USB port."""
        return (
            self.usb
            and _same(voltage_v, self.lowest_v)
            and _same(voltage_v, appendix_z.USB_LOWEST_V)
        )


def known_voltages(setup: Setup, *, measured: Iterable[float]) -> tuple[float, ...]:
    """Output voltages of the port [V], lowest first: advertised, else those of the table.

    What the port said when it was scanned goes before what is printed.
    """
    advertised = [item for item in advertised_outputs(setup) if item.current_a > 0]
    scanned = [item for item in advertised if item.source == "profile"]
    return tuple(sorted({item.voltage_v for item in scanned or advertised} or set(measured)))


def ends_of(setup: Setup, *, measured: Iterable[float]) -> Ends | None:
    """The judged voltages of an adaptive supply; None for any other."""
    if setup.adapter.supply != "adaptive":
        return None
    return Ends(known_voltages(setup, measured=measured), usb=may_negotiate(setup))


def may_negotiate(setup: Setup) -> bool:
    """Whether the port under test, or any when none is given, has a USB-C connector."""
    ports = setup.adapter.ports if setup.port is None else (setup.port,)
    return any(port.connector == "usb-c" for port in ports)


def by_usb_steps(output: Output) -> Output | None:
    """The output with 2 A as its full load; None unless all four steps were measured.

    The steps are 100, 75, 50 and 25 % of 2 A, and a point counts for one within ±2 points as at
    every other load.
    """
    full_load_a = appendix_z.USB_STEPS_A[0]
    nominal = nominal_load(output.current[AS_READ], full_load_current=full_load_a)
    if not set(AVERAGED_LOADS) <= set(nominal.tolist()):
        return None
    return replace(output, full_load_a=full_load_a, nominal=nominal, assumed=False)


def outside_definition(setup: Setup, *, ends: Ends) -> tuple[str, ...]:
    """A sentence when the port is not, by the letter, what the method calls a USB PD supply."""
    reasons = [f"{voltage:g} V" for voltage in ends.voltages if voltage > appendix_z.USB_HIGHEST_V]
    at_lowest = advertised_current(setup, voltage_v=ends.lowest_v)
    if at_lowest is not None and at_lowest < appendix_z.USB_LEAST_A_AT_LOWEST:
        reasons.append(f"{at_lowest:g} A at {ends.lowest_v:g} V")
    for voltage, most in appendix_z.USB_MOST_A:
        current = advertised_current(setup, voltage_v=voltage)
        if current is not None and current > most:
            reasons.append(f"{current:g} A at {voltage:g} V")
    if not reasons:
        return ()
    most_listed = ", ".join(f"{most:g} A at {volts:g} V" for volts, most in appendix_z.USB_MOST_A)
    return (
        f"This port states {', '.join(reasons)}: by the letter it falls outside what the test "
        f"method calls a USB Power Delivery supply (up to {appendix_z.USB_HIGHEST_V:g} V, at least "
        f"{appendix_z.USB_LEAST_A_AT_LOWEST:g} A at the lowest voltage, at most {most_listed}), "
        "for which the steps from 2 A down are written; our reading.",
    )


def _same(one_v: float, other_v: float) -> bool:
    return abs(one_v - other_v) <= SAME_VOLTAGE_V
