"""Write down an instrument with the accuracy of its data sheet."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

meter = {
    "name": "Example power meter",
    "quantity": "input_power",
    "reading_percent": 0.1,
    "fixed": 0.0005,
    "calibration_due": "2027-03-31",
}
headers = {**token, "Idempotency-Key": "example-meter"}
answer = requests.post(f"{api}instruments/", json=meter, headers=headers, timeout=30)
answer.raise_for_status()
print(answer.json()["name"])
