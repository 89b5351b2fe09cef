"""Sense for made-up calls: what no schema can say is put right in those that are meant to be valid.

A generator knows that a slug is letters, not which adapter there is; that two numbers are numbers,
not that one is below the other. Only values that were made valid on purpose are touched, so
that what is made invalid stays as it is.
"""

from __future__ import annotations

import itertools
import zlib
from collections.abc import Callable
from copy import copy, deepcopy
from typing import Any

from schemathesis.core.parameters import ParameterLocation
from schemathesis.generation import GenerationMode

from measurements.kinds import get_kind
from tests.contract.world import World
from tests.factories.measurements import no_load_log
from tests.factories.pictures import picture
from tests.factories.result_tables import standby_table

_count = itertools.count()
Body = dict[str, Any]


def made_sensible(given: Any, world: World) -> Any:
    """A copy of the call with that put right which the description cannot say."""
    # Calls are made once for all callers, and each remembers what was sent.
    case = _copied(given)
    made = case.meta.components if case.meta else {}

    def is_valid(location: ParameterLocation) -> bool:
        return location in made and made[location].mode == GenerationMode.POSITIVE

    # Calls share what they are made of, so each part is replaced and none is changed.
    if is_valid(ParameterLocation.PATH):
        case.path_parameters = _what_is_there(case, world)
    if is_valid(ParameterLocation.QUERY):
        case.query = _narrowed(dict(case.query), world)
    if is_valid(ParameterLocation.HEADER):
        case.headers = _headers_that_fit(copy(case.headers))
    if is_valid(ParameterLocation.BODY) and isinstance(case.body, dict):
        mend = _BODIES.get((case.method.upper(), case.operation.path.removeprefix("/api/v1/")))
        if mend:
            case.body = mend(dict(case.body), world)
    # What is set anew would be judged anew, and files cannot be judged.
    case._record_starting_state()
    return case


def _copied(given: Any) -> Any:
    """The same call, not sent yet; the library's own copies forget how they were made."""
    case = object.__new__(type(given))
    for name in (name for kind in type(given).__mro__ for name in getattr(kind, "__slots__", ())):
        if hasattr(given, name) and not name.startswith("__"):
            object.__setattr__(case, name, getattr(given, name))
    object.__setattr__(case, "_meta", deepcopy(given._meta))
    return case


def _one_of(choices: list[str], given: Any) -> str:
    """One of the choices, the same one for the same made-up value."""
    return choices[zlib.crc32(repr(given).encode("utf-8", "replace")) % len(choices)]


def _what_is_there(case: Any, world: World) -> dict[str, Any]:
    kind = case.operation.path.split("/")[3]
    known = {name: world.known[kind if name == "slug" else name] for name in case.path_parameters}
    return {
        name: _one_of([*known[name], given], given) for name, given in case.path_parameters.items()
    }


def _narrowed(query: dict[str, Any], world: World) -> dict[str, Any]:
    query.pop("after", None)  # cursors are signed; only the site makes them
    for name, kind in (("adapter", "adapters"), ("maker", "maker"), ("run", "run_id")):
        if name in query:  # of each kind the first two are shown to everybody
            query[name] = _one_of(world.known[kind][:2], query[name])
    if query.keys() & {"price_min", "price_max"}:  # a price is one in some currency
        query.setdefault("currency", "EUR")
    return query


def _headers_that_fit(headers: Any) -> Any:
    if "If-Match" in headers:
        headers["If-Match"] = "*"
    if "Idempotency-Key" in headers:
        headers["Idempotency-Key"] = f"{headers['Idempotency-Key'][:180]}-{next(_count)}"
    return headers


def _in_order(body: Body, low: str, high: str) -> None:
    """Both ends of a range or neither, the lower one first."""
    ends = sorted(end for end in (body.get(low), body.get(high)) if end is not None)
    body.pop(low, None)
    body.pop(high, None)
    if len(ends) == 2:
        body[low], body[high] = ends


def _adapter(body: Body, _world: World) -> Body:
    _in_order(body, "mains_min_v", "mains_max_v")
    sizes = ("length_mm", "width_mm", "height_mm")
    if any(body.get(size) is None for size in sizes):
        for size in sizes:
            body.pop(size, None)
    if "name" in body:
        body["name"] = f"{body['name'][:100]} {next(_count)}"
    if "ports" in body:
        body["ports"] = [
            {**port, "label": f"C{place}", "protocols": []}
            for place, port in enumerate(body["ports"], start=1)
        ]
    if "claims" in body:
        body["claims"] = [{"text": claim["text"]} for claim in body["claims"]]
    return body


def _device(body: Body, _world: World) -> Body:
    _in_order(body, "voltage_min_v", "voltage_max_v")
    body.pop("slug", None)
    body["name"] = f"{body['name'][:80]} {next(_count)}"
    return body


def _instrument(body: Body, _world: World) -> Body:
    days = sorted(body[day] for day in ("calibrated_on", "calibration_due") if body.get(day))
    body.pop("calibration_due", None)
    body.pop("calibrated_on", None)
    if len(days) == 2:
        body["calibrated_on"], body["calibration_due"] = days
    body["name"] = f"{body['name'][:80]} {next(_count)}"
    return body


def _run(body: Body, world: World) -> Body:
    kind = get_kind(body["kind"])
    own = {field.name for field in kind.fields}
    common = {"adapter", "kind", "unit", "mains_hz", "ambient_c", "note"}
    made = {name: said for name, said in body.items() if name in own | common}
    for field in kind.fields:
        if field.type == "json":
            made.pop(field.name, None)
        elif field.required:
            made[field.name] = made.get(field.name) or "20"
    made |= {"adapter": _one_of(world.known["adapters"][:2], body["adapter"]), "mains_v": 230.0}
    return {**made, "file": no_load_log(0.05 + next(_count) / 1000)}


def _result_table(body: Body, world: World) -> Body:
    watts = 0.05 + next(_count) / 1000
    return {**body, "file": standby_table((world.known["adapters"][0], watts, 0.001))}


def _attachment(body: Body, _world: World) -> Body:
    return {**body, "file": picture(size=(16 + next(_count) % 400, 16))}


def _amendment(body: Body, _world: World) -> Body:
    return {**body, "changes": {"note": f"Amended {next(_count)} times."}}


def _comparison(body: Body, world: World) -> Body:
    if "adapters" in body:
        body["adapters"] = world.known["adapters"][: 1 + len(body["adapters"]) % 2]
    # What is said of single adapters and metrics has to be of those in the table.
    slug = body["adapters"][0] if "adapters" in body else None
    metric = body["metrics"][0] if body.get("metrics") else None
    for name, needed in (
        ("groups", {"adapter": slug}),
        ("metric_conditions", {"metric": metric}),
        ("cell_notes", {"adapter": slug, "metric": metric}),
    ):
        if None in needed.values():
            body.pop(name, None)
        elif name in body:
            body[name] = [{**item, **needed} for item in body[name]]
    if "blocks" in body:
        body["blocks"] = ["sharing:high"]
    return body


_BODIES: dict[tuple[str, str], Callable[[Body, World], Body]] = {
    ("POST", "adapters/"): _adapter,
    ("PATCH", "adapters/{slug}/"): _adapter,
    ("POST", "adapters/{slug}/attachments/"): _attachment,
    ("POST", "runs/{run_id}/attachments/"): _attachment,
    ("POST", "devices/"): _device,
    ("POST", "instruments/"): _instrument,
    ("POST", "runs/"): _run,
    ("POST", "runs/{run_id}/amend/"): _amendment,
    ("POST", "tables/"): _result_table,
    ("POST", "comparisons/"): _comparison,
    ("PATCH", "comparisons/{slug}/"): _comparison,
}
