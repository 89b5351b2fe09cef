"""Every place of every adapter, as a Parquet file."""

import io
import os

import pyarrow.parquet as pq
import requests

api = os.environ["BRICKLEDGER_API"]  # such as http://127.0.0.1:8000/api/v1/

answer = requests.get(f"{api}bulk/placements/", params={"as": "parquet"}, timeout=60)
answer.raise_for_status()
places = pq.read_table(io.BytesIO(answer.content))
print(places.num_rows, "places,", places.column_names)
