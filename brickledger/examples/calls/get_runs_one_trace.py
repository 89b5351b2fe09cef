"""The record of a run, thinned to 200 points."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

accepted: dict[str, str | int] = {"standing": "accepted", "limit": 1}
run = requests.get(f"{api}runs/", params=accepted, timeout=30).json()["results"][0]
answer = requests.get(f"{api}runs/{run['id']}/trace/", params={"points": 200}, timeout=30)
answer.raise_for_status()
for name, column in answer.json()["columns"].items():
    print(name, len(column), "points")
