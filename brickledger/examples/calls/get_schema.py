"""The description of this API."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}schema/", timeout=30)
answer.raise_for_status()
print(answer.json()["openapi"], len(answer.json()["paths"]), "addresses")
