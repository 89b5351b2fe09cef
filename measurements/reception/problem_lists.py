"""Every problem of a file, not only the first ones that a page shows."""

from __future__ import annotations

from typing import Any

from measurements.confined import Exhausted
from measurements.models import Arrival, Run
from measurements.reception.reading import examine_arrival, examine_run

MOST_PROBLEMS = 100_000


def every_problem(of: Arrival | Run) -> list[dict[str, Any]]:
    """Problems in the order of the file, read again for this; at most 100,000 of them.

    The last row says how many more there are, where there are. The file is read in the limited
    process like any other time; one that is too much for that has one problem that says so.
    """
    if isinstance(of, Run) and not of.raw.held:
        return list(of.problems)
    try:
        if isinstance(of, Run):
            found = examine_run(of, problems_kept=MOST_PROBLEMS)
        else:
            found = examine_arrival(of, problems_kept=MOST_PROBLEMS)
    except Exhausted as exhausted:
        return [{"row": None, "column": None, "detail": str(exhausted)}]
    problems = [problem.as_json() for problem in found.problems]
    if more := found.problem_count - len(problems):
        problems.append({"row": None, "column": None, "detail": f"And {more} more like these."})
    return problems
