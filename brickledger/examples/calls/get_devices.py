"""The reference devices."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}devices/", timeout=30)
answer.raise_for_status()
for device in answer.json()["results"]:
    print(device["slug"], device["battery_wh"], "Wh")
