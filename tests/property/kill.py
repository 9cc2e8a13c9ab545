#!/usr/bin/env python3
"""Kill: the daemon is killed at random instants and started again; nothing may be lost.

    kill.py PROGRAM [SEED] [TRIALS]

Each trial drops a small town's files into the folders, kills `watch` with SIGKILL one to
four times, wherever it just is (claiming, reading, judging, moving, removing what is older
than it is to be kept, telling the night, making the backup), lets it finish, and compares
with a run that nobody disturbed: every row of every file is there exactly once or counted
as removed, every file is in one place, findings are the same, what the night wrote is whole.
SIGKILL leaves the page cache as it is, so this says nothing of syncs.
"""
import contextlib
import glob
import gzip
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
import whole
from program import cases, same, write_csv
from town import COLUMNS, Town

CLAIMED = "work"
YEARS = (2019, 2020, 2021)

TRIALS = 15
PIECES, CRUMBS = 8, 20
LISTS = ("sites", "roster", "plan", "service", "roster-later")


def fixture(folder):
    """inbox/ and desk/ as they are dropped; two files cannot be taken."""
    os.makedirs(f"{folder}.old")
    os.makedirs(f"{folder}/inbox")
    os.makedirs(f"{folder}/desk")
    town = Town(2, 16, 24)
    town.write(f"{folder}/made")
    rows = [r for _, r in sorted(town.rows(False) + town.rows(True), key=lambda r: r[0])]
    size = len(rows) // PIECES + 1
    for n in range(PIECES):
        # Neighbours overlap, as exports do: equal rows of two files are one event.
        part = rows[max(0, n * size - 50):(n + 1) * size]
        write_csv(f"{folder}/inbox/events-{n}.csv", COLUMNS, part)
    for n in range(CRUMBS):
        write_csv(f"{folder}/inbox/crumb-{n}.csv", COLUMNS, rows[n * 7:n * 7 + 5])
    with open(f"{folder}/inbox/events-0.csv", "rb") as f, gzip.open(f"{folder}/inbox/a.gz", "wb") as g:
        shutil.copyfileobj(f, g)
    for n, name in enumerate(LISTS):
        path = shutil.copy(f"{folder}/made/town/{name}.csv", f"{folder}/desk/")
        os.utime(path, (1000000 + n, 1000000 + n))
    shutil.copy(f"{folder}/made/town/plan.csv", f"{folder}/inbox/misplaced.csv")
    write_csv(f"{folder}/desk/other.csv", ("name", "colour"), [("a", "red")])
    shutil.rmtree(f"{folder}/made")
    # A history of years ago, which the night removes.
    for year in YEARS:
        write_csv(f"{folder}.old/{year}.csv", COLUMNS, [
            [re.sub(r"^20\d\d(?=-\d\d-\d\d)", str(year), cell) for cell in row] for row in rows])
    write_csv(f"{folder}.old/kept.csv", ("rule", "setting", "value"), [("kept", "events", "400")])


def store_before(program, fix):
    """A store with that history; its night is long ago, so that the next one is due at once."""
    db = f"{fix}.old/s.db"
    os.makedirs(f"{fix}.old/none")
    program.ingest(db, f"{fix}.old")
    program.run(db, "nightly", f"{fix}.old/none", "--out", f"{fix}.old/out", "--now", "2020-01-01T00:00")


def start(program, d, *words):
    return subprocess.Popen([program.path, "watch", f"{d}/drop", "--db", f"{d}/s.db", "--settle", "0",
                             "--nightly", "00:00", "--out", f"{d}/out", "--backup", f"{d}/backup",
                             *words], env=program.env,
                            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                            stderr=open(f"{d}/log", "ab"))


def prepare(fix, d):
    os.makedirs(d)
    shutil.copytree(fix, f"{d}/drop")
    shutil.copy(f"{fix}.old/s.db", f"{d}/s.db")


def log(d):
    with open(f"{d}/log", encoding="utf-8") as f:
        return f.read()


def removed(d):
    with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
        return c.execute("SELECT kind, sum(n), min(oldest), max(newest) FROM removal GROUP BY kind").fetchall()


def finish(program, d):
    last = start(program, d, "--once")
    assert last.wait(timeout=120) == 0, f"the last run: exit {last.returncode}"


def trial(program, fix, d, rng, span):
    """(kills, restarts that found something in work/, kills between removing and the night's end)."""
    prepare(fix, d)
    kills = rng.randrange(1, 5)
    found = late = 0
    for _ in range(kills):
        # Small batches make files span several, in a transaction of their own.
        p = start(program, d, "--batch", str(rng.choice((50, 1000, 400000))))
        if rng.random() < 0.4:	# the night is short
            end = time.monotonic() + span
            while "what=judged" not in log(d).rsplit("what=start", 1)[-1] and time.monotonic() < end:
                time.sleep(0.001)
            time.sleep(rng.uniform(0, span / 3))
        else:
            time.sleep(rng.uniform(0, span) * rng.random())  # more of them early: most happens then
        p.send_signal(signal.SIGKILL)
        p.wait()
        found += bool(glob.glob(f"{d}/drop/{CLAIMED}/*/*"))
        last = log(d).rsplit("what=start", 1)[-1]
        late += "what=removed" in last and "what=backup" not in last
    finish(program, d)
    return kills, found, late


def main(program, folder, seed):
    trials = int(sys.argv[3]) if len(sys.argv) > 3 else TRIALS
    rng = random.Random(f"kill/{seed}")
    fix = f"{folder}/fixture"
    fixture(fix)
    store_before(program, fix)
    prepare(fix, f"{folder}/calm")
    begun = time.monotonic()
    finish(program, f"{folder}/calm")
    span = (time.monotonic() - begun) * 1.1
    want = whole.store(program, f"{folder}/calm/s.db")
    lie = whole.folders(f"{folder}/calm/drop")
    assert want[1], "the town has no findings at all"
    assert len(lie[1]) == 2 and len(lie[0]) == PIECES + CRUMBS + len(LISTS) + 1, \
        f"{len(lie[0])} done, {len(lie[1])} failed"
    whole.night(f"{folder}/calm/out")
    assert whole.backups(f"{folder}/calm/backup") == 1
    gone = removed(f"{folder}/calm")
    assert [g[0] for g in gone] == ["events"], gone
    kills = found = late = 0
    for n in range(trials):
        d = f"{folder}/{n}"
        a, b, c = trial(program, fix, d, rng, span)
        kills, found, late = kills + a, found + b, late + c
        try:
            have = whole.store(program, f"{d}/s.db")
            for what, x, y in zip(("log", "open findings"), want, have):
                same(what, f"trial {n}", x, y)
            same("cleared findings", f"trial {n}", want[2], have[2], more=True)
            assert whole.folders(f"{d}/drop") == lie, f"trial {n}: files are not where they should be"
            assert removed(d) == gone, f"trial {n}: removed {removed(d)}, not {gone}"
            whole.night(f"{d}/out")
            assert whole.backups(f"{d}/backup") >= 1, f"trial {n}: the night has no backup"
        except AssertionError as e:
            raise AssertionError(f"trial {n}: {e}\n{log(d)[-4000:]}") from e
        shutil.rmtree(d)
    print(f"kill.py: {trials} trials, {kills} kills, {found} of them with files in work/, {late} after "
          "something was removed and before the backup")


cases(main)
