"""Correct what was said about a file: it was measured at 115 V."""

import os
import time

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

adapter = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
log = "time_s,input_power_w\n" + "".join(f"{second},0.0715\n" for second in range(901))
sent = requests.post(
    f"{api}runs/",
    data={"adapter": adapter["slug"], "kind": "no-load", "mains_v": 230},
    files={"file": ("standby.csv", log)},
    headers=token,
    timeout=60,
)
sent.raise_for_status()
address = f"{api}runs/{sent.json()['id']}/"
while requests.get(address, headers=token, timeout=30).json()["state"] != "ready":
    time.sleep(0.5)
change = {"reason": "The mains was set to 115 V.", "changes": {"mains_v": 115, "mains_hz": 60}}
answer = requests.post(f"{address}amend/", json=change, headers=token, timeout=30)
answer.raise_for_status()
print(answer.json()["line"], answer.json()["amendments"][-1]["reason"])
