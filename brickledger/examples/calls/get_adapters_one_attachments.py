"""Pictures and documents of an adapter."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

first = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
answer = requests.get(f"{api}adapters/{first['slug']}/attachments/", timeout=30)
answer.raise_for_status()
for attachment in answer.json()["results"]:
    print(attachment["title"], attachment["media_type"], attachment["address"])
