"""Comparison tables."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}comparisons/", timeout=30)
answer.raise_for_status()
for table in answer.json()["results"]:
    print(table["slug"], table["state"], table["hash"])
