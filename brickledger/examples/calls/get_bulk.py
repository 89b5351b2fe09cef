"""What can be downloaded whole, and in which forms."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}bulk/", timeout=30)
answer.raise_for_status()
for table in answer.json()["results"]:
    print(table["address"], [column["name"] for column in table["columns"]])
