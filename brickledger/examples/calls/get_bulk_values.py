"""Every value that stands today, as CSV, read as it comes."""

import csv
import os

import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

with requests.get(f"{api}bulk/values/", stream=True, timeout=60) as answer:
    answer.raise_for_status()
    lines = answer.iter_lines(decode_unicode=True)
    for row in csv.DictReader(lines):
        print(row["adapter"], row["metric"], row["value"], row["unit"])
