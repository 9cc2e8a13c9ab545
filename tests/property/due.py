#!/usr/bin/env python3
"""Due: judging only what changed, file after file, ends where judging everything at once does."""
import os
import random
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
from program import cases, judged, same
from town import Town

ORDERS = 3
EVENTS = ("events-1.csv.gz", "events-2.csv", "lake-1.csv", "lake-2.csv")
LISTS = ("sites.csv", "roster.csv", "roster-later.csv", "plan.csv", "service.csv")


def main(program, folder, seed):
    rng = random.Random(f"due/{seed}")
    Town(2, 54, 46).write(folder)
    path = lambda name: f"{folder}/town/{name}"
    program.ingest(f"{folder}/once.db", *[path(n) for n in LISTS + EVENTS])
    want = judged(program, f"{folder}/once.db")
    assert want[0], "the sample has no findings at all"
    for n in range(ORDERS):
        # Of one kind of list the later version comes later; all else comes as it likes.
        order = rng.sample(LISTS + EVENTS, len(LISTS + EVENTS))
        a, b = order.index("roster.csv"), order.index("roster-later.csv")
        order[min(a, b)], order[max(a, b)] = "roster.csv", "roster-later.csv"
        db = f"{folder}/{n}.db"
        for name in order:
            program.ingest(db, path(name))
        have = judged(program, db)
        where = f"files one by one, {' '.join(order)}"
        same("open findings", where, want[0], have[0])
        same("cleared findings", where, want[1], have[1], more=True)


cases(main)
