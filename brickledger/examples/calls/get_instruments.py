"""The instruments of the bench and their accuracy."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}instruments/", timeout=30)
answer.raise_for_status()
for item in answer.json()["results"]:
    print(item["name"], f"±({item['reading_percent']} % + {item['fixed']})")
