"""Runs with which anything happened since the first of the month."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

since: dict[str, str | int] = {"updated_since": "2026-11-01", "limit": 20}
answer = requests.get(f"{api}runs/", params=since, timeout=30)
answer.raise_for_status()
for run in answer.json()["results"]:
    print(run["id"], run["adapter"], run["kind"], run["standing"])
