#!/usr/bin/env python3
"""Retention: open findings and the state of every device are the same before and after; old
files bring nothing back; and a removal that is killed goes on where it was.

    retention.py PROGRAM [SEED] [KILLS]

Towns with a history of well over a year are judged, what is older than 400 days is removed,
and they are judged anew. Expected numbers of rows are counted from the stores before.
"""
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
from program import cases, judged, same, write_csv
from town import Town

TOWNS = ((16, 450, False), (40, 420, True))
KILLS = 12
LATER = "2030-01-01"  # so that the end of cover counts, whenever this is run
LISTS = ("sites.csv", "roster.csv", "roster-later.csv", "plan.csv", "service.csv")
EVENTS = ("events-1.csv.gz", "events-2.csv", "lake-1.csv", "lake-2.csv")


def fill(program, folder, db, seed, accounts, days, more, **options):
    if not os.path.isdir(folder):
        Town(seed, accounts, days, more).write(folder)
    files = [f"{folder}/town/{n}" for n in LISTS + EVENTS if os.path.exists(f"{folder}/town/{n}")]
    program.ingest(db, *files, **options)
    write_csv(f"{folder}/kept.csv", ("rule", "setting", "value"), [("kept", "events", "400")])
    program.ingest(db, f"{folder}/kept.csv")
    return [f for f in files if os.path.basename(f) in EVENTS]


def judge_anew(program, folder, db, n):
    """A setting that changes nothing makes every account due."""
    write_csv(f"{folder}/{n}.csv", ("rule", "setting", "value", "who"),
              [("nightly", "set_aside", "0.1", str(n))])
    program.ingest(db, f"{folder}/{n}.csv")


def seen(program, db):
    """Findings, and the sheet of every site."""
    found = judged(program, db)
    with sqlite3.connect(db) as c:
        accounts = [a for a, in c.execute("SELECT DISTINCT account FROM account ORDER BY 1")]
    sheets = [program.run(db, "site", a, "--format", "json", ok=(0, 1, 2)) for a in accounts]
    return found, sheets


def events(db):
    with sqlite3.connect(db) as c:
        return c.execute("SELECT r.account, r.file, r.lo, r.hi, r.n, r.shift, b.events, a.kept_from"
                         " FROM run r JOIN block b ON b.id = r.block JOIN account a ON a.id = r.account"
                         " ORDER BY r.block").fetchall()


def count(db):
    with sqlite3.connect(db) as c:
        assert c.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        return c.execute("SELECT coalesce(sum(n), 0) FROM run").fetchone()[0]


def town(program, folder, seed, shape):
    db, kept = f"{folder}/all.db", f"{folder}/kept.db"
    files = fill(program, folder, db, seed, *shape)
    judge_anew(program, folder, db, "a")
    want, sheets = seen(program, db)
    assert want[0], "the town has no findings at all"
    shutil.copy(db, kept)
    before = count(kept)
    program.run(kept, "expire", "--yes", "--now", LATER)
    after = count(kept)
    assert after < before, "nothing was old enough"
    judge_anew(program, folder, kept, "b")
    have, other = seen(program, kept)
    where = f"town {seed}, {before} events, {after} kept"
    same("open findings", where, want[0], have[0])
    same("cleared findings", where, want[1], have[1], more=True)
    same("sheets", where, sheets, other)
    for batch in (1000, 400000):
        told = program.ingest(kept, *files, batch=batch)
        for f in told:
            assert f["rows"] == f["stored"] + f["repeated"] + f["set_aside"] + f["expired"], f"{where}: {f}"
            assert f["stored"] == 0, f"{where}: came back: {f}"
        assert sum(f["expired"] for f in told) >= before - after, f"{where}: {told}"
    assert count(kept) == after, f"{where}: {count(kept)} after the files were read again"
    judge_anew(program, folder, kept, "c")
    have, other = seen(program, kept)
    same("open findings", f"{where}, files read again", want[0], have[0])
    same("sheets", f"{where}, files read again", sheets, other)
    print(f"{where}: {len(want[0])} open findings, {len(sheets)} sheets")
    return db, kept


def batches(program, folder, seed):
    """However many rows are read at a time, the same are left, and the same are told as expired."""
    want = None
    for batch in (37, 1000, 400000):
        db = f"{folder}/{batch}.db"
        files = fill(program, f"{folder}/town", db, seed, 4, 430, False, batch=batch)
        program.run(db, "expire", "--yes", "--now", LATER)
        told = [(f["file"].split("/")[-1], f["stored"], f["expired"])
                for f in program.ingest(db, *files, batch=batch)]
        have = (program.table(db, "events"), told, judged(program, db)[0])
        assert sum(expired for _, _, expired in told), "nothing was old enough"
        for what, x, y in zip(("events", "files read again", "open findings"), want or have, have):
            same(what, f"batches of {batch}", [str(i) for i in x], [str(i) for i in y])
        want = have
    print(f"batches: {len(want[0])} events left")


def killed(program, folder, db, rng, kills):
    """Wherever it is killed, it goes on where it was; nothing else is lost."""
    calm = f"{folder}/calm.db"
    shutil.copy(db, calm)
    begun = time.monotonic()
    program.run(calm, "expire", "--yes", "--now", LATER)
    span = time.monotonic() - begun
    want = events(calm)
    removed = "SELECT sum(n), min(oldest), max(newest) FROM removal"
    with sqlite3.connect(calm) as c:
        told = c.execute(removed).fetchone()
    hit = 0
    for n in range(kills):
        path = f"{folder}/k{n}.db"
        shutil.copy(db, path)
        p = subprocess.Popen([program.path, "expire", "--yes", "--now", LATER, "--db", path], env=program.env,
                             stdout=subprocess.DEVNULL)
        time.sleep(rng.uniform(0, span))
        p.send_signal(signal.SIGKILL)
        hit += p.wait() != 0
        assert count(path) >= count(calm), f"kill {n}: {count(path)} of {count(calm)} left"
        program.run(path, "expire", "--yes", "--now", LATER)
        assert events(path) == want, f"kill {n}: the store is another one"
        with sqlite3.connect(path) as c:
            assert c.execute(removed).fetchone() == told, f"kill {n}: the account of it differs"
        os.remove(path)
    print(f"{kills} kills, {hit} of them before the end")


def main(program, folder, seed):
    kills = int(sys.argv[3]) if len(sys.argv) > 3 else KILLS
    rng = random.Random(f"retention/{seed}")
    for n, shape in enumerate(TOWNS):
        db, _ = town(program, f"{folder}/{n}", seed + n, shape)
    killed(program, folder, db, rng, kills)
    os.makedirs(f"{folder}/batches")
    batches(program, f"{folder}/batches", seed)


cases(main)
