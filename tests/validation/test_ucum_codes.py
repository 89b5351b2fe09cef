"""Source: UCUM, the Unified Code for Units of Measure, as the grammar of the library ucumvert.

Every unit that a package names is parsed by that grammar, and a number in it must stand for the
same quantity as our own unit does in the unit library.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pint
import pytest
from ucumvert import PintUcumRegistry  # type: ignore[import-untyped]

from comparisons.packages.declared import TABLES
from comparisons.packages.declared.raw_columns import factor_of
from comparisons.packages.ucum import known_units, quantity_of, ucum_of
from measurements.kinds import all_kinds, all_metrics

# Our spelling of a unit → the unit library's, where they differ.
SPELLED = {
    "1": "dimensionless",
    "": "dimensionless",
    "%": "percent",
    "Ah": "A*h",
    "Wh": "W*h",
    "K/h": "K/hour",
    "W/cm³": "W/cm**3",
    "kWh/a": "kW*h/year",
    "°C": "degC",
    "Ω": "ohm",
    "h": "hour",
    "pixel": "dimensionless",
}


@pytest.fixture(scope="module")
def registry() -> Any:
    """The unit library, which reads UCUM codes too."""
    return PintUcumRegistry()


def units_of_the_site() -> Iterator[str]:
    """Every unit of a metric, of a column of a raw file, and of a method field."""
    yield from (metric.unit for metric in all_metrics().values())
    for kind in all_kinds():
        yield from (column.unit for column in kind.columns if not column.is_text)
        yield from (field.unit for field in kind.fields)


@pytest.mark.parametrize("unit", sorted(set(units_of_the_site())))
def test_every_unit_of_the_site_has_a_code_and_a_kind_of_quantity(unit: str) -> None:
    assert ucum_of(unit)
    assert quantity_of(unit)


@pytest.mark.parametrize("unit", known_units())
def test_every_code_is_of_the_grammar(registry: Any, unit: str) -> None:
    assert registry.from_ucum(ucum_of(unit)) is not None


@pytest.mark.parametrize(
    "unit", sorted(set(units_of_the_site()) - {"mVpp", "Vpp"}), ids=lambda unit: unit or "none"
)
def test_a_code_stands_for_the_same_quantity_as_our_unit(registry: Any, unit: str) -> None:
    spelled = SPELLED.get(unit, unit)
    ours = registry.Quantity(12.5, registry.Unit(spelled)).to_base_units()
    parsed = registry.from_ucum(ucum_of(unit))
    theirs = registry.Quantity(12.5 * parsed.magnitude, parsed.units).to_base_units()

    assert ours.dimensionality == theirs.dimensionality
    assert theirs.magnitude == pytest.approx(ours.magnitude, rel=1e-12)


def test_a_difference_of_temperatures_is_no_temperature() -> None:
    assert ucum_of("K") != ucum_of("°C")
    assert quantity_of("K") != quantity_of("°C")


def test_every_field_with_a_unit_says_what_it_measures(registry: Any) -> None:
    fields = [column.as_field() for table in TABLES for column in table.columns]
    with_unit = [field for field in fields if "unit" in field]
    assert len(with_unit) > 20
    for field in with_unit:
        assert field["quantityKind"], field["name"]
        assert registry.from_ucum(field["unit"]) is not None
    # A number without a unit says in words which one it is in, or that there is none.
    bare = {field["name"] for field in fields if field["type"] == "number"} - {
        field["name"] for field in with_unit
    }
    assert bare == {
        *("price", "fixed", "factor", "value", "standard_uncertainty"),
        *("limit", "expanded_uncertainty", "margin"),
    }


@pytest.mark.parametrize(
    ("found", "canonical", "factor"),
    [("mW", "W", 1e-3), ("min", "s", 60.0), ("Vpp", "mVpp", 1e3), ("degF", "degC", None)],
)
def test_the_factor_of_a_raw_column_is_that_of_the_unit_library(
    found: str, canonical: str, factor: float | None
) -> None:
    assert factor_of(found, to=canonical) == (
        None if factor is None else pytest.approx(factor, rel=1e-15)
    )
    if factor is not None and "pp" not in found:
        own: Any = pint.UnitRegistry()
        assert own.Quantity(1.0, found).to(canonical).magnitude == pytest.approx(factor)
