#!/usr/bin/env python3
"""Set aside: what cannot be read is kept whole, can be written out, mended and read back.

Some rows of random exports are spoilt. After the way out and back in the store holds
what it would hold had the file been good from the start.
"""
import collections
import csv
import io
import os
import random
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from program import cases, write_csv

TRIALS = 10
COLUMNS = ("account", "time", "event", "zone", "text", "user", "signal")
# Column, and what stands in it instead: nothing that a reader may guess at.
SPOILT = [("event", "130"), ("event", "open"), ("event", "closing"), ("event", "E13"),
          ("event", "door ajar"), ("event", ""), ("account", ""), ("time", ""),
          ("time", "2026-02-30 08:00:00"), ("time", "2026-10-01 25:00:00"), ("time", "yesterday"),
          ("time", "01/02/2026 08:00")]


def good_rows(rng, n):
    return [{"account": rng.choice(("A1", "0042", "42")),
             "time": f"2026-10-{1 + i // 20:02d}T{8 + i % 12:02d}:{rng.randrange(60):02d}:00+02:00",
             "event": rng.choice(("E130", "R130", "zone-open", "BA", "low-battery")),
             "zone": str(rng.randrange(1, 9)),
             "text": rng.choice((f"row {i}", f"row {i}; \"quoted\", comma", f"row {i}\nsecond line",
                                 f"row {i} Übung")),
             "user": "", "signal": rng.choice(("", "3 bars"))} for i in range(n)]


def put(path, rows, separator=","):
    return write_csv(path, COLUMNS, [[r[c] for c in COLUMNS] for r in rows], separator)


def events(program, db):
    return collections.Counter(tuple(r[c] for c in COLUMNS) for r in program.table(db, "events"))


def plain(cell):
    """Without the mark that keeps a spreadsheet from taking a cell for a formula."""
    return cell[1:] if cell[:1] == "'" else cell


def one(program, folder, rng, trial):
    good = good_rows(rng, rng.randrange(20, 60))
    spoilt = sorted(rng.sample(range(len(good)), rng.randrange(1, 12)))
    bad = [dict(r) for r in good]
    for n in spoilt:
        column, cell = rng.choice(SPOILT)
        bad[n][column] = cell
    separator = rng.choice(",;\t")
    put(f"{folder}/{trial}-bad.csv", bad, separator)
    put(f"{folder}/{trial}-good.csv", good, separator)
    db, clean = f"{folder}/{trial}.db", f"{folder}/{trial}-clean.db"
    program.ingest(clean, f"{folder}/{trial}-good.csv", timezone="UTC")
    told, = program.ingest(db, f"{folder}/{trial}-bad.csv", timezone="UTC")
    assert told["rows"] == len(bad) and told["set_aside"] == len(spoilt) and \
        told["stored"] == len(bad) - len(spoilt), f"trial {trial}: {told}, spoilt {len(spoilt)}"
    assert sum(told["reasons"].values()) == len(spoilt), f"trial {trial}: {told}"

    out = program.run(db, "export", "aside")
    rows = list(csv.DictReader(io.StringIO(out, newline="")))
    assert len(rows) == len(spoilt), f"trial {trial}: {len(rows)} written out of {len(spoilt)}"
    mended = []
    for row in rows:
        n = int(row["text"].split()[1].strip(";"))
        for c in COLUMNS:
            assert plain(row.get(c, "")) == bad[n][c], \
                f"trial {trial}: {c} of {row} was {bad[n][c]!r}"
        mended.append({**row, **good[n]})
    head = list(rows[0])
    head += [c for c in COLUMNS if c not in head]
    path = write_csv(f"{folder}/{trial}-mended.csv", head,
                     [[r.get(c, "") for c in head] for r in mended])
    told, = program.ingest(db, path, timezone="UTC")
    assert told["stored"] == len(spoilt) and told["set_aside"] == 0, f"trial {trial}: mended: {told}"
    assert events(program, db) == events(program, clean), f"trial {trial}: the stores differ"
    for again in (path, f"{folder}/{trial}-bad.csv"):
        told, = program.ingest(db, again, timezone="UTC")
        assert told["stored"] == 0, f"trial {trial}: stored again: {told}"
    assert events(program, db) == events(program, clean), f"trial {trial}: reading again changed it"


def main(program, folder, seed):
    rng = random.Random(f"aside/{seed}")
    for trial in range(TRIALS):
        one(program, folder, rng, trial)


cases(main)
