"""What this API can do."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(api, timeout=30)
answer.raise_for_status()
for call in answer.json()["calls"]:
    print(call["method"], call["address"], call["does"])
