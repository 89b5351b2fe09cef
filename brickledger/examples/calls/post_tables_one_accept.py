"""Let the results of a table stand."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

adapter = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
rows = f"adapter,metric,value,line\n{adapter['slug']},no-load-power,0.083,high\n"
sent = requests.post(
    f"{api}tables/",
    data={"origin": "An example, invented"},
    files={"file": ("results.csv", rows)},
    headers=token,
    timeout=30,
)
sent.raise_for_status()
answer = requests.post(
    f"{api}tables/{sent.json()['id']}/accept/", json={}, headers=token, timeout=30
)
answer.raise_for_status()
print(answer.json()["standing"])
