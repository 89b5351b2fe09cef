"""What import-linter checks here beyond the contracts that it brings along."""

from __future__ import annotations

import pkgutil
from importlib.util import find_spec
from typing import Any

from importlinter.contracts.independence import IndependenceContract
from importlinter.domain.contract import InvalidContractOptions


def packages_in(module: str) -> list[str]:
    """The packages right inside a package, found by scanning its folder."""
    spec = find_spec(module)
    folders = spec.submodule_search_locations if spec else None
    return [f"{module}.{item.name}" for item in pkgutil.iter_modules(folders or []) if item.ispkg]


class IndependentPackages(IndependenceContract):
    """The packages right inside each of `modules` know nothing of each other.

    They are looked for at every check, so that a new one is held to it without being named.
    """

    type_name = "independent_packages"

    def __init__(
        self, name: str, session_options: dict[str, Any], contract_options: dict[str, Any]
    ) -> None:
        packages = [
            package
            for module in contract_options.get("modules", [])
            for package in packages_in(module)
        ]
        if not packages:
            raise InvalidContractOptions({"modules": "There is no package in any of them."})
        super().__init__(name, session_options, {**contract_options, "modules": packages})
