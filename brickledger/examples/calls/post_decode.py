"""Decode the power data objects of a source and audit them."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

words = {"words": ["0x0001912C", "0x0002D12C"], "rated_power_w": 27}
answer = requests.post(f"{api}decode/", json=words, timeout=30)
answer.raise_for_status()
for item in answer.json()["objects"]:
    print(item["position"], item["kind"], item["voltage_max_v"], "V", item["current_max_a"], "A")
for finding in answer.json()["findings"]:
    print(finding["severity"], finding["detail"])
