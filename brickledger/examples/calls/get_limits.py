"""The limits that apply to a rating of 65 W."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

asked: dict[str, float] = {"rated_power_w": 65, "output_v": 20, "output_a": 3.25}
answer = requests.get(f"{api}limits/", params=asked, timeout=30)
answer.raise_for_status()
for limit in answer.json()["results"]:
    print(limit["scheme"], limit["quantity"], limit["sense"], limit["value"], limit["unit"])
