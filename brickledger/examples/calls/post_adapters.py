"""Write down an adapter; the key makes a repeat harmless."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

adapter = {
    "maker": "Northfold",
    "name": "Example 65",
    "rated_power_w": 65,
    "ports": [{"label": "C1", "connector": "usb-c", "rated_power_w": 65}],
}
headers = {**token, "Idempotency-Key": "example-adapter-65"}
answer = requests.post(f"{api}adapters/", json=adapter, headers=headers, timeout=30)
answer.raise_for_status()
print(answer.json()["slug"], answer.headers["ETag"])
