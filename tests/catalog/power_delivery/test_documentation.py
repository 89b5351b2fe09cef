"""The package explains itself: units, cited sources, examples that hold."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re

import catalog.power_delivery
from catalog.power_delivery import source_rules
from catalog.power_delivery.sources import SOURCES

MODULES = tuple(
    importlib.import_module(f"{catalog.power_delivery.__name__}.{module.name}")
    for module in pkgutil.iter_modules(catalog.power_delivery.__path__)
)
REFERENCE = re.compile(r"^\s*\.\. \[\d+\] `([a-z0-9-]+)`", re.MULTILINE)


def test_every_public_function_states_units_of_what_it_takes_and_gives() -> None:
    functions = [
        function
        for module in MODULES
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__ and not name.startswith("_")
    ]
    assert len(functions) >= 15
    silent = [
        function.__qualname__
        for function in functions
        if not re.search(r"\[[^\]]+\]", inspect.getdoc(function) or "")
    ]
    assert silent == []


def test_every_citation_is_in_the_bibliography_which_says_what_was_read() -> None:
    cited = {
        key for module in MODULES for key in REFERENCE.findall(inspect.getsource(module) or "")
    }
    assert "usb-pd-source-rules" in cited
    assert cited <= SOURCES.keys()
    for key, source in SOURCES.items():
        assert key == source.key
        assert source.title
        assert source.edition
        assert source.note


def test_the_examples_hold() -> None:
    outcome = doctest.testmod(source_rules)
    assert outcome.attempted > 0
    assert outcome.failed == 0
