"""A table with its cells."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

listed = requests.get(f"{api}adapters/", params={"limit": 2}, timeout=30).json()["results"]
table = {
    "title": "Standby, to be read",
    "adapters": [adapter["slug"] for adapter in listed],
    "metrics": ["no-load-power", "power-density"],
    "conditions": {"line": "high"},
}
draft = requests.post(f"{api}comparisons/", json=table, headers=token, timeout=30)
draft.raise_for_status()
address = requests.compat.urljoin(api, draft.headers["Location"])
answer = requests.get(address, headers=token, timeout=30)
answer.raise_for_status()
for row in answer.json()["table"]["rows"]:
    print(row["title"], [cell and cell["value"] for cell in row["cells"]], row["unit"])
