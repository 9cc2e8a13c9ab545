#!/usr/bin/env python3
"""Due: judging only what changed, file after file, ends where judging everything at once does."""
import os
import random
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
from program import cases
from town import Town

ORDERS = 3
EVENTS = ("events-1.csv.gz", "events-2.csv", "lake-1.csv", "lake-2.csv")
LISTS = ("sites.csv", "roster.csv", "roster-later.csv", "plan.csv", "service.csv")


def findings(program, db):
    out = {}
    for f in program.findings(db):
        subject = (f["rule"], f["account"], f["zone"], f["serial"], f["onset"])
        f = {k: v for k, v in f.items() if k not in ("id", "state")}
        f["evidence"] = sorted((e["time"], e["event"]) for e in f["evidence"])
        f["members"] = len(f["members"])
        out.setdefault(subject, []).append(f)
    return out


def main(program, folder, seed):
    rng = random.Random(f"due/{seed}")
    Town(2, 54, 46).write(folder)
    path = lambda name: f"{folder}/town/{name}"
    program.ingest(f"{folder}/once.db", *[path(n) for n in LISTS + EVENTS])
    want = findings(program, f"{folder}/once.db")
    assert want, "the sample has no findings at all"
    for n in range(ORDERS):
        # Of one kind of list the later version comes later; all else comes as it likes.
        order = rng.sample(LISTS + EVENTS, len(LISTS + EVENTS))
        a, b = order.index("roster.csv"), order.index("roster-later.csv")
        order[min(a, b)], order[max(a, b)] = "roster.csv", "roster-later.csv"
        db = f"{folder}/{n}.db"
        for name in order:
            program.ingest(db, path(name))
        have = findings(program, db)
        where = f"files one by one: {' '.join(order)}"
        for subject in sorted(set(want) | set(have), key=repr):
            x, y = want.get(subject), have.get(subject)
            if x == y:
                continue
            assert x, f"{where}\nonly when judged file by file: {y}"
            assert y, f"{where}\nonly when judged at once: {x}"
            for p, q in zip(x, y):
                differ = {k: (p[k], q[k]) for k in p if p[k] != q[k]}
                assert not differ, f"{where}\n{subject}: at once, one by one: {differ}"
            assert len(x) == len(y), f"{where}\n{subject}: {len(x)} against {len(y)}"


cases(main)
