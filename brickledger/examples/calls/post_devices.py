"""Write down a reference device."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

device = {"name": "Example tablet", "battery_wh": 28.6, "max_power_w": 30}
headers = {**token, "Idempotency-Key": "example-tablet"}
answer = requests.post(f"{api}devices/", json=device, headers=headers, timeout=30)
answer.raise_for_status()
print(answer.json()["slug"])
