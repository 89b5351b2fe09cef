"""The ranking of standby power at 230 V."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}rankings/no-load-power/", params={"line": "high"}, timeout=30)
answer.raise_for_status()
print(answer.json()["cohort"])
for place in answer.json()["results"][:10]:
    print(place["rank"], place["adapter"], place["value"], place["percentile"])
