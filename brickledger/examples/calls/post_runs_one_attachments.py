"""Attach a picture of the oscilloscope to a run."""

import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/
token = {"Authorization": f"Bearer {os.environ['BRICKLEDGER_TOKEN']}"}

accepted: dict[str, str | int] = {"standing": "accepted", "limit": 1}
run = requests.get(f"{api}runs/", params=accepted, timeout=30).json()["results"][0]
# The smallest picture there is: one dark pixel (PNG).
dot = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de000000"
    "0c4944415478da63505050000000c4006117682a1c0000000049454e44ae426082"
)
answer = requests.post(
    f"{api}runs/{run['id']}/attachments/",
    data={"kind": "scope-picture", "title": "A dark pixel"},
    files={"file": ("pixel.png", dot)},
    headers=token,
    timeout=30,
)
answer.raise_for_status()
print(answer.status_code, answer.json()["address"])
