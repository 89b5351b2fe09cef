"""Change the notes of a draft."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

listed = requests.get(f"{api}adapters/", params={"limit": 2}, timeout=30).json()["results"]
table = {
    "title": "Standby, to be changed",
    "adapters": [adapter["slug"] for adapter in listed],
    "metrics": ["no-load-power", "power-density"],
    "conditions": {"line": "high"},
}
draft = requests.post(f"{api}comparisons/", json=table, headers=token, timeout=30)
draft.raise_for_status()
address = requests.compat.urljoin(api, draft.headers["Location"])
answer = requests.patch(
    address,
    json={"notes": "Measured at 230 V."},
    headers={**token, "If-Match": draft.headers["ETag"]},
    timeout=30,
)
answer.raise_for_status()
print(answer.json()["notes"])
