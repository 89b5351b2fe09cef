"""The file of a run as it came, held against its hash."""

import hashlib
import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

accepted: dict[str, str | int] = {"standing": "accepted", "limit": 1}
run = requests.get(f"{api}runs/", params=accepted, timeout=30).json()["results"][0]
answer = requests.get(f"{api}runs/{run['id']}/raw/", timeout=60)
answer.raise_for_status()
print(hashlib.sha256(answer.content).hexdigest() == run["raw_sha256"])
