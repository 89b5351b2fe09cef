"""Hand in a folder of raw files and wait until each of them is computed.

    BRICKLEDGER_API=http://127.0.0.1:8000/api/v1/ BRICKLEDGER_TOKEN=… \
        python upload_folder.py FOLDER

The folder holds `runs.csv`: a row for each file, with the fields of an upload as its columns
(adapter, kind, mains_v …) and the file's name in the column `file`; several instruments are
joined by semicolons. It is safe to run again: the same file for the same adapter, kind and
condition is the same run. It ends with 1 if a file was refused or could not be computed.
"""

from __future__ import annotations

import csv
import os
import sys
import time
from pathlib import Path
from urllib.parse import urljoin

import requests

PATIENCE_S = 600
ATTEMPTS = 5


def send(session: requests.Session, api: str, row: dict[str, str], folder: Path) -> str:
    """Hand in the file of one row; the address of its run. "" where it was refused."""
    fields: dict[str, object] = {name: cell for name, cell in row.items() if cell}
    name = str(fields.pop("file"))
    if "instruments" in fields:
        fields["instruments"] = str(fields["instruments"]).split(";")
    for _ in range(ATTEMPTS):
        with (folder / name).open("rb") as file:
            answer = session.post(
                f"{api}runs/", data=fields, files={"file": (name, file)}, timeout=300
            )
        if answer.status_code not in (429, 503):
            break
        time.sleep(float(answer.headers.get("Retry-After", "5")))
    if not answer.ok:
        problem = answer.json()
        for fault in problem["errors"] or [problem]:
            print(f"{name}: {fault.get('field', '')} {fault['detail']}", file=sys.stderr)
        return ""
    return urljoin(api, answer.headers["Location"])


def wait(session: requests.Session, address: str) -> dict[str, object]:
    """The run once nothing more will happen to it by itself."""
    until = time.monotonic() + PATIENCE_S
    pause = 0.25
    while True:
        answer = session.get(address, timeout=60)
        if answer.status_code in (429, 503):
            time.sleep(float(answer.headers.get("Retry-After", "5")))
            continue
        answer.raise_for_status()
        run: dict[str, object] = answer.json()
        if run["state"] not in ("received", "computing") or time.monotonic() > until:
            return run
        time.sleep(pause)
        pause = min(pause * 1.5, 5.0)


def report(name: str, run: dict[str, object]) -> bool:
    """Print what came of a run; whether it is ready."""
    print(f"{name}: {run['state']}, {run['standing']}")
    for item in run["metrics"]:  # type: ignore[attr-defined]  # JSON has no types
        spread = f" ± {item['standard_uncertainty']:.3g}" if item["standard_uncertainty"] else ""
        print(f"  {item['metric']} {item['condition']}: {item['value']:.6g}{spread} {item['unit']}")
    for problem in run["problems"]:  # type: ignore[attr-defined]
        print(f"  row {problem['row']}, {problem['column']}: {problem['detail']}")
    return run["state"] == "ready"


def main() -> int:
    """Hand in everything first, so that the site works while the rest is sent; then wait."""
    folder = Path(sys.argv[1])
    api = os.environ["BRICKLEDGER_API"]
    session = requests.Session()
    session.headers["Authorization"] = f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"
    with (folder / "runs.csv").open(newline="", encoding="utf-8-sig") as table:
        rows = list(csv.DictReader(table))
    sent = [(row["file"], send(session, api, dict(row), folder)) for row in rows]
    good = [address and report(name, wait(session, address)) for name, address in sent]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
