"""What the ports of an adapter advertise."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

first = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
answer = requests.get(f"{api}adapters/{first['slug']}/ports/", timeout=30)
answer.raise_for_status()
for port in answer.json()["results"]:
    print(port["label"], port["rated_power_w"], "W", len(port["objects"]), "profiles")
