#!/usr/bin/env python3
"""Splits: how a history is cut into files, and in which order they come, changes nothing.

The sample's events are cut into spans that touch each other; each span is read by
itself, in random order. The log, the cover and the findings must be those of one file.
"""
import collections
import os
import random
import sqlite3
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
from program import cases, judged, same, write_csv
from town import COLUMNS, Town
from world import DAY, HOUR, T0

PIECES = 5
ORDERS = 2
# Hours in which a local clock of the town is set back: the order of rows in one file
# tells the two passes apart, so a cut in there would lose what nobody could restore.
SET_BACK = [(T0 + 40 * DAY + 21 * HOUR, T0 + 41 * DAY + 3 * HOUR)]


def cut(rows, rng):
    """Spans [a, b], [b, c], ... of receipt; equal rows stay together in one of them."""
    spread = collections.defaultdict(list)
    for at, row in rows:
        spread[row[:8]].append(at)
    spread = [(min(v), max(v)) for v in spread.values() if min(v) < max(v)]
    instants = sorted({at for at, _ in rows})
    good = lambda t: not any(a <= t <= b for a, b in spread + SET_BACK)
    inner = rng.sample([t for t in instants[1:-1] if good(t)], PIECES - 1)
    edges = [instants[0], *sorted(inner), instants[-1]]
    return [[row for at, row in rows if a <= at <= b] for a, b in zip(edges, edges[1:])]


def log(program, db):
    """Every event, as often as it stands there."""
    drop = ("from_file", "from_line")
    return [tuple((k, v) for k, v in sorted(row.items()) if k not in drop)
            for row in program.table(db, "events")]


def cover(db):
    """Of the accounts that sites names: the others are covered by the files they have rows in."""
    with sqlite3.connect(db) as c:
        joined = {}
        for account, begin, end in c.execute(
                "SELECT a.account, s.from_at, s.to_at FROM account_span s"
                " JOIN account a ON a.id = s.account"
                " WHERE a.account IN (SELECT account FROM site) ORDER BY 1, 2"):
            spans = joined.setdefault(account, [])
            if spans and begin <= spans[-1][1]:
                spans[-1][1] = max(end, spans[-1][1])
            else:
                spans.append([begin, end])
        return sorted((account, *span) for account, spans in joined.items() for span in spans)


def read(program, folder, name, files, **options):
    db = f"{folder}/{name}.db"
    lists = [f"{folder}/lists/town/{n}.csv"
             for n in ("sites", "roster", "roster-later", "plan", "service")]
    program.ingest(db, *lists)
    for path in files:
        told, = program.ingest(db, path, **options)
        assert told["set_aside"] == 0, f"{path}: {told}"
    result = log(program, db), cover(db), *judged(program, db)
    os.remove(db)
    return result


def main(program, folder, seed):
    rng = random.Random(f"splits/{seed}")
    town = Town(2, 54, 46)
    town.write(f"{folder}/lists")
    rows = sorted(town.rows(False) + town.rows(True), key=lambda r: r[0])
    whole = write_csv(f"{folder}/whole.csv", COLUMNS, [r for _, r in rows])
    pieces = [write_csv(f"{folder}/piece-{n}.csv", COLUMNS, part)
              for n, part in enumerate(cut(rows, rng))]
    want = read(program, folder, "whole", [whole], covers="all")
    first = None
    for n in range(ORDERS):
        order = rng.sample(range(PIECES), PIECES)
        files = [pieces[i] for i in order]
        have = read(program, folder, f"all-{n}", files, covers="all")
        where = f"pieces {order}, --covers all"
        for what, a, b in zip(("log", "cover", "open findings"), want, have):
            same(what, where, a, b)
        same("cleared findings", where, want[3], have[3], more=True)
        have = read(program, folder, f"rows-{n}", files)
        same("log", f"pieces {order}", want[0], have[0])
        first = first or (order, have)
        for what, a, b in zip(("log", "cover", "open findings"), first[1], have):
            same(what, f"pieces {order} against {first[0]}", a, b)


cases(main)
