"""Work on what was read while more is read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Read = TypeVar("Read")
Made = TypeVar("Made")


def beside_reading(work: Callable[[Read], Made], source: Iterable[Read]) -> Iterator[Made]:
    """`work` done on each of `source`, in order, in a thread while the next one is read.

    The database driver waits outside the interpreter, and the columnar library works there; each
    would else wait for the other. What was read before a fault comes out before it.
    """
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="bulk") as pool:
        reader = iter(source)
        made: Future[Made] | None = None
        while True:
            following: Future[Made] | None = None
            fault: Exception | None = None
            try:
                following = pool.submit(work, next(reader))
            except StopIteration:
                pass
            except Exception as error:  # whatever it is, it is raised in its turn
                fault = error
            if made is not None:
                yield made.result()
            if fault is not None:
                raise fault
            if following is None:
                return
            made = following
