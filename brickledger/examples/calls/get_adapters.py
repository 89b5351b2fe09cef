"""Every adapter from 60 W, page by page."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

page = requests.get(f"{api}adapters/", params={"power_min": 60, "limit": 100}, timeout=30)
page.raise_for_status()
while True:
    for adapter in page.json()["results"]:
        print(adapter["slug"], adapter["rated_power_w"], "W")
    if page.json()["next"] is None:
        break
    page = requests.get(requests.compat.urljoin(api, page.json()["next"]), timeout=30)
    page.raise_for_status()
