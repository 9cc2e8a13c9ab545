#!/usr/bin/env python3
"""run.py BUILD [ROWS] - how long one night's reading takes, as ratios of one run.

Each round times, one after the other: the sqlite3 shell's .import of the export into one
raw text table; `tripsift ingest` of the same file into a new store (read, normalised,
repeats removed, every account judged, all durable); and the same events again with the
columns in another order and one row added. Files and stores lie in $TMPDIR (about 4 GB
for 10 million rows). The page cache is warm: each file is read once before.
"""
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time

build = sys.argv[1]
rows = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000_000
accounts = max(20, rows // 500)
rounds = 3


def timed(argv, **options):
    """(wall seconds, processor seconds, peak MiB) of a command that must work."""
    begin = time.monotonic()
    child = subprocess.Popen(argv, stdout=subprocess.DEVNULL, **options)
    _, status, used = os.wait4(child.pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        sys.exit(f"{argv}: exit {os.waitstatus_to_exitcode(status)}")
    return time.monotonic() - begin, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def remove(path):
    for tail in ("", "-wal", "-shm", "-journal"):
        if os.path.exists(path + tail):
            os.remove(path + tail)


def middle(values):
    return sorted(values)[len(values) // 2]


def main(folder):
    export, turned = folder + "/export.csv", folder + "/turned.csv"
    raw, store = folder + "/raw.db", folder + "/store.db"
    for path, more in ((export, []), (turned, ["turned"])):
        with open(path, "wb") as f:
            subprocess.run([build + "/tests/bench/gen", str(rows), str(accounts), *more],
                           stdout=f, check=True)
    with open(folder + "/import.sql", "w") as f:
        f.write(f".mode csv\n.import {export} raw\n")
    for path in (export, turned):
        subprocess.run(["cat", path], stdout=subprocess.DEVNULL, check=True)
    print(f"{rows:,} rows of {accounts:,} accounts, {os.path.getsize(export):,} bytes, "
          f"{os.cpu_count()} cores; wall s / processor s / MiB")
    found = {"import": [], "first": [], "again": []}
    for n in range(rounds):
        remove(raw)
        with open(folder + "/import.sql") as f:
            found["import"].append(timed(["sqlite3", raw], stdin=f))
        remove(raw)
        remove(store)
        found["first"].append(timed([build + "/tripsift", "ingest", "--db", store, export]))
        size = os.path.getsize(store)
        found["again"].append(timed([build + "/tripsift", "ingest", "--db", store, turned]))
        for what, runs in found.items():
            print(f"round {n + 1}  {what:6}  {runs[n][0]:7.2f} {runs[n][1]:7.2f} {runs[n][2]:6.0f}",
                  flush=True)
    with sqlite3.connect(store) as db:
        stored = [r[0] for r in db.execute("SELECT stored FROM file ORDER BY id")]
    wall = {what: middle([r[0] for r in runs]) for what, runs in found.items()}
    print(f"first load / .import       {wall['first'] / wall['import']:.2f}   (goal: at most 0.50)")
    print(f"same again / first load    {wall['again'] / wall['first']:.2f}   (goal: at most 1.00)")
    print(f"rows stored the 2nd time   {stored[1]}      (goal: 1)")
    print(f"peak memory MiB            {max(r[2] for r in found['first'] + found['again']):.0f}"
          f"    (goal: under 350)")
    print(f"bytes an event             {size / stored[0]:.1f}   (goal: at most 60)")


where = tempfile.mkdtemp(prefix="tripsift-bench-")
try:
    main(where)
finally:
    shutil.rmtree(where)
