"""Every metric: its unit, definition and source."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}metrics/", timeout=30)
answer.raise_for_status()
for metric in answer.json()["results"]:
    print(metric["key"], f"[{metric['unit']}]", metric["source"])
