"""Hand in a standby record and wait for what comes of it."""

import os
import time

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

first = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
log = "time_s,input_power_w\n" + "".join(f"{second},0.0712\n" for second in range(901))
answer = requests.post(
    f"{api}runs/",
    data={"adapter": first["slug"], "kind": "no-load", "mains_v": 230, "mains_hz": 50},
    files={"file": ("standby.csv", log)},
    headers=token,
    timeout=60,
)
answer.raise_for_status()
address = requests.compat.urljoin(api, answer.headers["Location"])
for _ in range(120):
    run = requests.get(address, headers=token, timeout=30).json()
    if run["state"] not in ("received", "computing"):
        break
    time.sleep(0.5)
print(run["state"], [(item["metric"], item["value"]) for item in run["metrics"]])
