"""Writes strip.parquet, the table that reads_recordings.rs reads, by Apache Arrow's own writer.

    pip install pyarrow && python3 make_strip.py

Times have no zone; altitude_ok is a truth, airspeed a float of 32 bits, altitude a whole number, and cells are left out.
The last column is compressed otherwise and read by nobody.
"""
import datetime
from pathlib import Path

import pyarrow
import pyarrow.parquet

begin = datetime.datetime(2031, 5, 4, 10, 0, 0)
times = [begin + datetime.timedelta(milliseconds=ms) for ms in (0, 500, 1000)]
table = pyarrow.table({
    "time": pyarrow.array(times, pyarrow.timestamp("us")),
    "airspeed_kt": pyarrow.array([60, 61.5, 63], pyarrow.float32()),
    "altitude_ft": pyarrow.array([1000, 1010, 1020], pyarrow.int16()),
    "altitude_ok": pyarrow.array([True, None, False], pyarrow.bool_()),
    "mode": pyarrow.array(["HOLD", "HOLD", "NAV"], pyarrow.string()),
    "list": pyarrow.array([[1, 2], [], None], pyarrow.list_(pyarrow.int32())),
})
pyarrow.parquet.write_table(
    table, Path(__file__).with_name("strip.parquet"), row_group_size=2, store_schema=False,
    compression={"time": "snappy", "airspeed_kt": "gzip", "altitude_ft": "none", "altitude_ok": "snappy",
                 "mode": "snappy", "list.list.element": "zstd"})
