"""Where an adapter stands among all that were tested."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

first = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
answer = requests.get(f"{api}adapters/{first['slug']}/placements/", timeout=30)
answer.raise_for_status()
for place in answer.json()["results"]:
    print(place["metric"], place["condition"], place["rank"], "of", place["count"])
