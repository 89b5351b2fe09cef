"""One adapter; asked again with its tag it costs nothing."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

first = requests.get(f"{api}adapters/", params={"limit": 1}, timeout=30).json()["results"][0]
address = f"{api}adapters/{first['slug']}/"
answer = requests.get(address, timeout=30)
answer.raise_for_status()
print(answer.json()["maker"], answer.json()["name"])
again = requests.get(address, headers={"If-None-Match": answer.headers["ETag"]}, timeout=30)
print(again.status_code)  # 304
