"""The pure functions explain themselves: units, parameters, sources."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import numpy as np
import pytest

import measurements.metrics
import measurements.standards
from measurements.kinds import all_metrics
from measurements.standards.sources import SOURCES

UNIT = re.compile(r"\[[^\]]+\]")
REFERENCE = re.compile(r"^\s*\.\. \[\d+\] `([a-z0-9-]+)`", re.MULTILINE)


def modules() -> Iterator[ModuleType]:
    for package in (measurements.metrics, measurements.standards):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            yield importlib.import_module(module.name)


MODULES = tuple(modules())
FUNCTIONS: tuple[Callable[..., Any], ...] = tuple(
    function
    for module in MODULES
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if function.__module__ == module.__name__ and not name.startswith("_")
)
EVERY_FUNCTION = pytest.mark.parametrize(
    "function", FUNCTIONS, ids=lambda function: f"{function.__module__}.{function.__name__}"
)


def section(text: str, *, heading: str) -> str:
    """The lines of a numpydoc section, empty when there is none."""
    found = re.search(
        rf"^{heading}\n-+\n(.*?)(?=^\w[^\n]*\n-+\n|\Z)", text, re.MULTILINE | re.DOTALL
    )
    return found.group(1) if found else ""


def documented_parameters(text: str) -> list[tuple[str, str]]:
    """Every ``name : type`` entry of the Parameters section with its indented description."""
    entries = re.findall(
        r"^(\w[\w, ]*?) : [^\n]*\n((?:(?: {4}[^\n]*)?\n)*)",
        section(text, heading="Parameters"),
        re.MULTILINE,
    )
    return [(name.strip(), body) for names, body in entries for name in names.split(",")]


def test_there_are_functions_to_look_at() -> None:
    assert len(FUNCTIONS) >= 10
    assert len(MODULES) >= 10


@EVERY_FUNCTION
def test_every_public_function_documents_its_parameters_in_order_with_units(
    function: Callable[..., Any],
) -> None:
    text = inspect.getdoc(function)
    assert text
    entries = documented_parameters(text)
    assert [name for name, _ in entries] == list(inspect.signature(function).parameters)
    for name, body in entries:
        assert UNIT.search(body), f"{name} has no [unit]"


@EVERY_FUNCTION
def test_every_public_function_says_what_it_returns_with_units(
    function: Callable[..., Any],
) -> None:
    assert UNIT.search(section(inspect.getdoc(function) or "", heading="Returns"))


def test_every_reference_is_in_the_bibliography() -> None:
    cited = {
        key for function in FUNCTIONS for key in REFERENCE.findall(inspect.getdoc(function) or "")
    }
    assert "jcgm-100" in cited
    assert cited - SOURCES.keys() == set()


def test_every_metric_names_a_source_of_the_bibliography() -> None:
    named = {metric.key: metric.source for metric in all_metrics().values()}
    assert {key: source for key, source in named.items() if source not in SOURCES} == {}


def test_every_source_says_what_was_read() -> None:
    for key, source in SOURCES.items():
        assert key == source.key
        assert source.title
        assert source.edition
        assert source.note


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_the_examples_in_docstrings_hold(module: ModuleType) -> None:
    assert doctest.testmod(module, extraglobs={"np": np}).failed == 0
