#!/usr/bin/env python3
"""Wordings: new ones give what is stored the meaning it would have had from the start.

Random exports are read with one file of wordings and then given another from the same
place. The store then says and judges what a store says that was only ever read with the
second one; no row is doubled; life safety stays what it is whatever the patterns give.
"""
import collections
import os
import random
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from program import cases, judged, same, write_csv

TRIALS = 8
CELLS = ["Alarm", "Door", "Note", "Battery", "130", "open", "TA", "E111", "R111", "E130", "co-alarm",
         "zone-close", "Türkontakt"]
TEXTS = ["", "hall", "smoke upstairs", "kitchen, smoke", "cellar\nsecond line", "Übung", "weak"]
GIVES = ["E130", "R130", "E111", "E384", "R384", "zone-open", "zone-close", "test", "E401", "R401",
         "tamper", "E381", "check-in", "P130", "other", "E162"]
PATTERNS = ["^alarm", "smoke", "^door\\n.*hall", "door|tür", "^batt", "\\A130\\b", "^open$", "^TA$",
            "weak$", "übung", "line", "^note$", "(?-i)Alarm"]
LIFE = {"E111": "fire-alarm", "co-alarm": "co-alarm", "R111": "alarm-restore"}


def known(program, db):
    """Open findings, but alarms of life safety that earlier wordings showed: a person lets go of those."""
    return [f for f in judged(program, db)[0]
            if '"life-alarm"' not in f or "no_longer_in_the_log" not in f]


def words(rng, path, all_of_it):
    rows = [["column", "When", "time"], ["column", "Place", "account"], ["column", "What", "event"]]
    rows += [["event", p, rng.choice(GIVES)] for p in rng.sample(PATTERNS, rng.randrange(3, 10))]
    if all_of_it:
        rows.append(["event", "\\A", rng.choice(GIVES)])
    return write_csv(path, ("what", "match", "gives"), rows)


def export(rng, path):
    rows = [[rng.choice(("A1", "77")), f"2026-10-{1 + i // 24:02d} {i % 24:02d}:{rng.randrange(60):02d}:00",
             rng.choice(CELLS), str(rng.randrange(1, 4)), rng.choice(TEXTS)] for i in range(rng.randrange(20, 90))]
    return write_csv(path, ("Place", "When", "What", "zone", "text"), rows), len(rows)


def log(program, db):
    return collections.Counter(tuple(sorted((k, v) for k, v in r.items() if k not in ("from_line",)))
                               for r in program.table(db, "events"))


def one(program, folder, rng, trial):
    place = f"{folder}/{trial}-words.csv"
    path, n = export(rng, f"{folder}/{trial}-export.csv")
    db, fresh = f"{folder}/{trial}.db", f"{folder}/{trial}-fresh.db"
    every = rng.random() < 0.7
    words(rng, place, True)
    told = program.ingest(db, place, path, timezone="UTC")[1]
    assert told["rows"] == told["stored"] == n, f"trial {trial}: {told}"
    words(rng, place, every)
    program.ingest(db, place)
    told = program.ingest(fresh, place, path, timezone="UTC")[1]
    if every:
        assert told["stored"] == n, f"trial {trial}: {told}"
        assert log(program, db) == log(program, fresh), f"trial {trial}: other meanings"
        same("findings", f"trial {trial}", judged(program, fresh)[0], known(program, db))
    else:  # what the second one cannot read keeps its meaning, the rest is as if new
        assert not log(program, fresh) - log(program, db), f"trial {trial}: other meanings"
    told = program.ingest(db, place, path, timezone="UTC")[1]
    assert told["stored"] == 0, f"trial {trial}: doubled {told}"
    for row in program.table(db, "events"):
        if row["event"] in LIFE:
            assert row["word"] == LIFE[row["event"]] and "life-safety" in row["marks"], f"trial {trial}: {row}"


def copies(program, folder, rng, trial):
    """First without wordings, then the same bytes with them: what was stored follows."""
    path = write_csv(f"{folder}/{trial}-own.csv", ("account", "time", "event", "zone", "text"),
                     [["5", f"2026-10-01 08:{i:02d}:00", rng.choice(("alarm", "E111", "TA", "trip")), "1",
                       rng.choice(TEXTS)] for i in range(40)])
    place = write_csv(f"{folder}/{trial}-by-text.csv", ("what", "match", "gives"),
                      [["event", p, rng.choice(GIVES)] for p in ("smoke", "^TA", "hall")])
    db, fresh = f"{folder}/{trial}-own.db", f"{folder}/{trial}-own-fresh.db"
    program.ingest(db, path, timezone="UTC")
    told = program.ingest(db, path, wordings=place, timezone="UTC")[1]
    assert told["stored"] == 0 and told["repeated"] == 40, f"trial {trial}: {told}"
    program.ingest(fresh, path, wordings=place, timezone="UTC")
    assert log(program, db) == log(program, fresh), f"trial {trial}: other meanings"
    same("findings", f"trial {trial}, copies", judged(program, fresh)[0], known(program, db))


def main(program, folder, seed):
    for trial in range(TRIALS):
        rng = random.Random(1000 * seed + trial)
        one(program, folder, rng, trial)
        copies(program, folder, rng, trial)


cases(main)
