"""Reading settings from the environment without failing on a mistake.

A value that cannot be read falls back to the default and leaves a `Mistake`, which a
numbered system check reports with a hint before anything starts.
"""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

TRUE_WORDS = frozenset({"1", "true", "yes", "on"})
# A name, an address of version 4 or 6, a leading dot for every name below, or * for any.
HOST = re.compile(r"\*|\.?[A-Za-z0-9_]([A-Za-z0-9_.-]*[A-Za-z0-9_])?|\[[0-9A-Fa-f:.]+\]")
FALSE_WORDS = frozenset({"0", "false", "no", "off", ""})


@dataclass(frozen=True, slots=True)
class Mistake:
    """A setting that could not be used: its name, what is wrong, what to write instead."""

    name: str
    message: str
    hint: str


@dataclass(slots=True)
class Environment:
    """Typed access to environment variables; collects mistakes as it goes."""

    variables: Mapping[str, str] = field(default_factory=lambda: os.environ)
    mistakes: list[Mistake] = field(default_factory=list)

    def text(self, name: str, default: str) -> str:
        """The variable, stripped, or the default when it is unset or blank."""
        return self.variables.get(name, "").strip() or default

    def words(self, name: str, default: str) -> list[str]:
        """A comma-separated list without blanks."""
        return [word.strip() for word in self.text(name, default).split(",") if word.strip()]

    def flag(self, name: str, *, default: bool) -> bool:
        """A yes/no setting."""
        raw = self.variables.get(name)
        if raw is None:
            return default
        word = raw.strip().lower()
        if word in TRUE_WORDS:
            return True
        if word not in FALSE_WORDS:
            self.mistakes.append(
                Mistake(name, f"{name} is “{raw}”, which is neither yes nor no.", "Write 1 or 0.")
            )
        return False

    def number(self, name: str, default: float, *, minimum: float, maximum: float) -> float:
        """A number within a range."""
        raw = self.text(name, str(default))
        try:
            value = float(raw)
        except ValueError:
            value = float("nan")
        if not minimum <= value <= maximum:
            self.mistakes.append(
                Mistake(
                    name,
                    f"{name} is “{raw}”, not a number from {minimum:g} to {maximum:g}.",
                    f"Remove it to use {default:g}, or write a number in that range.",
                )
            )
            return default
        return value

    def whole(self, name: str, default: int, *, minimum: int, maximum: int) -> int:
        """A whole number within a range."""
        value = self.number(name, default, minimum=minimum, maximum=maximum)
        if value != int(value):
            self.mistakes.append(
                Mistake(
                    name,
                    f"{name} is “{self.text(name, '')}”, not a whole number.",
                    f"Remove it to use {default}, or write a number without a fraction.",
                )
            )
            return default
        return int(value)

    def one_of(self, name: str, default: str, *, choices: Sequence[str]) -> str:
        """One of a few words, in any case."""
        word = self.text(name, default).upper()
        if word not in choices:
            self.mistakes.append(
                Mistake(
                    name,
                    f"{name} is “{self.text(name, default)}”, which is none of its words.",
                    f"Write one of {', '.join(choices)}.",
                )
            )
            return default
        return word

    def order(self, name: str, *, choices: Sequence[str]) -> tuple[str, ...]:
        """Some of a few words in an order of one's own, each once; () for none or a mistake."""
        words = tuple(word.lower() for word in self.words(name, ""))
        unknown = [word for word in words if word not in choices]
        if unknown:
            wrong = f"{name} names “{unknown[0]}”, which is none of its words."
        elif len(set(words)) < len(words):
            twice = next(word for word in words if words.count(word) > 1)
            wrong = f"{name} names “{twice}” more than once."
        else:
            return words
        self.mistakes.append(
            Mistake(name, wrong, f"Write some of {', '.join(choices)}, each once.")
        )
        return ()

    def hosts(self, name: str, default: str) -> list[str]:
        """Host names, without scheme, port or path."""
        found = []
        for word in self.words(name, default):
            if HOST.fullmatch(word):
                found.append(word)
                continue
            self.mistakes.append(
                Mistake(
                    name,
                    f"{name} names “{word}”, which is not the name of a host.",
                    "Write names alone, such as bench.example, without https:// or a path.",
                )
            )
        return found


def secret_key(environment: Environment, data_dir: Path) -> str:
    """The signing key: from the environment, else one kept in the data folder.

    A site that is started by one command has no key yet; it makes one on its first start
    and keeps it readable by its own user alone, so that sessions outlive a restart.
    """
    given = environment.text("DJANGO_SECRET_KEY", "")
    if given:
        return given
    path = data_dir / "secret_key"
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        # O_EXCL: of two processes that start together only one writes the key.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text("ascii").strip() or secrets.token_urlsafe(50)
    except OSError as error:
        environment.mistakes.append(
            Mistake(
                "BRICKLEDGER_DATA_DIR",
                f"The data folder {data_dir} cannot be written: {error.strerror}.",
                "Name a folder that this user may write, or set DJANGO_SECRET_KEY.",
            )
        )
        return secrets.token_urlsafe(50)
    key = secrets.token_urlsafe(50)
    with os.fdopen(handle, "w", encoding="ascii") as stream:
        stream.write(key)
    return key
