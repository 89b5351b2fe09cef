"""What a person still has to settle before a file can be handed in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from measurements.forms import RunForm
from measurements.kinds.base import Kind
from measurements.models import Arrival


@dataclass(frozen=True, slots=True)
class Asked:
    """How an arrival stands.

    `kind` is what was said or recognised. `form` holds the conditions as they are said; it is
    valid when `needs` is empty. `needs` are the things that a person must still say or mend, as
    sentences.
    """

    arrival: Arrival
    kind: Kind | None
    form: RunForm
    needs: tuple[str, ...]

    @property
    def is_ready(self) -> bool:
        """Whether it can be handed in as it stands, without another question."""
        return not self.needs


def warnings_of(found: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The flags of a preview that have to be accepted with a reason."""
    flags = (found.get("outcome") or {}).get("flags", [])
    return [flag for flag in flags if flag["severity"] == "warning"]


def kind_of(arrival: Arrival) -> str:
    """The kind that was said, else the one that was recognised surely, else ""."""
    if said := str(arrival.said.get("kind", "")):
        return said
    found = arrival.found if arrival.is_read else None
    if found and found["candidates"] and found["candidates"][0]["is_sure"]:
        return str(found["kind"])
    return ""


def is_unreadable(found: Mapping[str, Any] | None) -> bool:
    """Whether nothing that anybody says would make a table of the file."""
    return found is not None and bool(found["problem_count"]) and found["evidence"] is None


def _faults(form: RunForm) -> Iterator[tuple[str, str]]:
    """What is wrong with each field, and in which words; what was not said yet is not wrong."""
    for name, errors in form.errors.as_data().items():
        if name in form.fields:
            missing = errors[0].code == "required"
            yield name, "not said yet." if missing else str(errors[0].messages[0])


def asked_of(arrival: Arrival) -> Asked:
    """What is still to be settled. A few queries for the form."""
    slug = kind_of(arrival)
    form = RunForm({**arrival.said, "kind": slug}, viewer=arrival.by)
    needs: list[str] = []
    found = arrival.found if arrival.is_read else None
    if found is None:
        needs.append("It is still being read.")
    elif found["failure"]:
        needs.append(found["failure"])
    if is_unreadable(found):
        needs.append("It cannot be read as a table.")
    elif found is not None and not slug:
        needs.append("Say which kind of run it is.")
    if not form.is_valid() and not is_unreadable(found):
        needs += [
            f"{form.fields[name].label or name.replace('_', ' ').capitalize()}: {sentence}"
            for name, sentence in _faults(form)
            if not (name == "kind" and not slug)
        ]
    if found is not None:
        if (count := found["problem_count"]) and not is_unreadable(found):
            needs.append(f"{count} problem{'' if count == 1 else 's'} in the file.")
        if found["outcome"] is not None and warnings_of(found):
            needs.append("Warnings need a reason.")
    if found is not None and not needs and found["outcome"] is None:
        needs.append("It has to be looked at again under these conditions.")
    return Asked(arrival=arrival, kind=form.declared, form=form, needs=tuple(needs))
