"""Reads the traces that a run left as an Arrow file with pyarrow, and holds them against the same run's table as text.

First let the tests write both, then compare:
  RAILRISE_TRACES=traces.arrow cargo test --release --no-default-features --features arrow,page --test tests traces_come_back
  python tests/outside/traces_arrow.py traces.arrow
Leaves with 1 when a number differs in one bit, or a column lacks its quantity and unit.
"""

import csv
import struct
import sys

import pyarrow as pa


def bits(x):
    return struct.pack("<d", x)


def main(path):
    with pa.memory_map(path) as source:
        table = pa.ipc.open_file(source).read_all()
    with open(path + ".csv", newline="") as f:
        names, kinds, *rows = list(csv.reader(f))
    bad = []
    if table.column_names != names:
        bad.append(f"columns {table.column_names}, the text has {names}")
    for k, (field, kind) in enumerate(zip(table.schema, kinds)):
        words = {a.decode(): b.decode() for a, b in (field.metadata or {}).items()}
        if words.get("quantity") != kind or not words.get("unit"):
            bad.append(f"{field.name}: {words}, the text says {kind}")
        column = table.column(k).to_pylist()
        if [bits(x) for x in column] != [bits(float(row[k])) for row in rows]:
            bad.append(f"{field.name}: a number differs")
    print(f"pyarrow {pa.__version__}: {table.num_rows} rows of {table.num_columns} columns, {len(bad)} complaints")
    for complaint in bad:
        print(complaint)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
