"""The records of standby runs, a row a number."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

asked = {"kind": "no-load"}
with requests.get(f"{api}bulk/traces/", params=asked, stream=True, timeout=60) as answer:
    answer.raise_for_status()
    count = sum(1 for _ in answer.iter_lines()) - 1
print(count, "numbers")
