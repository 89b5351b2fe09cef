"""Correct a mass, unless somebody changed the adapter meanwhile."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

first = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
address = f"{api}adapters/{first['slug']}/"
seen = requests.get(address, headers=token, timeout=30)
answer = requests.patch(
    address,
    json={"mass_g": 131.5},
    headers={**token, "If-Match": seen.headers["ETag"]},
    timeout=30,
)
answer.raise_for_status()
print(answer.json()["mass_g"], "g")
