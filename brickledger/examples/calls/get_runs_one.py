"""Everything that came of a run."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

accepted: dict[str, str | int] = {"standing": "accepted", "limit": 1}
run = requests.get(f"{api}runs/", params=accepted, timeout=30).json()["results"][0]
answer = requests.get(f"{api}runs/{run['id']}/", timeout=30)
answer.raise_for_status()
for item in answer.json()["metrics"]:
    print(item["metric"], item["value"], "±", item["standard_uncertainty"], item["unit"])
