"""Standby power of every adapter at 230 V."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

asked: dict[str, str | int] = {"metric": "no-load-power", "line": "high", "limit": 500}
answer = requests.get(f"{api}values/", params=asked, timeout=30)
answer.raise_for_status()
for item in answer.json()["results"]:
    print(item["adapter"], item["value"], "±", item["standard_uncertainty"], item["unit"])
