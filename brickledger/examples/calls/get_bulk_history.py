"""Every value of one metric that ever stood, a JSON object a line."""

import json
import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

asked = {"as": "ndjson", "metric": "no-load-power"}
with requests.get(f"{api}bulk/history/", params=asked, stream=True, timeout=60) as answer:
    answer.raise_for_status()
    for line in answer.iter_lines():
        row = json.loads(line)
        print(row["adapter"], row["value"], row["current_from"], row["current_until"])
