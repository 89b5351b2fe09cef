"""Freeze a draft under a hash, for readers."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

listed = requests.get(f"{api}adapters/", params={"limit": 2}, timeout=30).json()["results"]
table = {
    "title": "Standby, to be published",
    "adapters": [adapter["slug"] for adapter in listed],
    "metrics": ["no-load-power", "power-density"],
    "conditions": {"line": "high"},
}
draft = requests.post(f"{api}comparisons/", json=table, headers=token, timeout=30)
draft.raise_for_status()
address = requests.compat.urljoin(api, draft.headers["Location"])
for departure in draft.json()["table"]["departures"]:
    print("Read before publishing:", departure["sentence"])
read = {"departures_read": draft.json()["departures"]["seal"]}
answer = requests.post(f"{address}publish/", json=read, headers=token, timeout=30)
answer.raise_for_status()
print(answer.json()["hash"])
