#!/usr/bin/env python3
"""Crash: the power goes at any instant; nothing may be lost, and nothing said be untrue.

    crash.py PROGRAM SHIM [SEED] [STATES]

The program runs once over a small load while shim.c records every change that it makes.
replay.py makes of the record what the disk may hold after a stop at each sync, rename and
unlink: what was synced, and any part of the rest. On each such state (or STATES of each
load, by chance) it is looked at what was said before the stop, the program runs again, and
then everything must be there exactly once, as if nothing had happened.

Then the proof that each sync is needed: the same, with the states of a program that does all
but that one. Each time some state must come out wrong. LOADS="watch,expire" in the
environment: only these.
"""
import concurrent.futures
import itertools
import os
import random
import shutil
import sqlite3
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..")]
import replay
from loads import chosen, Decide, Expire, ExpireByNight, First, Ingest, Nightly, Watch, run
from program import cases, same


AT_ONCE = 8


class Trial:
    """One load, recorded."""

    def __init__(self, program, shim, folder, kind):
        self.program, self.kind, self.folder = program, kind, f"{folder}/{kind.name}".replace(" ", "-")
        d = f"{self.folder}/root"
        os.makedirs(d)
        kind.begin(program, d)
        self.record = replay.Record(d)
        shutil.copytree(d, f"{self.folder}/calm", symlinks=True)
        run(program, kind.words(d), {"LD_PRELOAD": shim, "SHIM_ROOT": d, "SHIM_LOG": f"{self.folder}/record"})
        self.record.read(f"{self.folder}/record")
        kind.end()
        d = f"{self.folder}/calm"
        kind.moved(d)
        kind.finish(program, d)
        self.want = kind.result(program, d)
        self.n = itertools.count(1)

    def fault(self, k, state):
        """Why the state is wrong; None = it is not."""
        d = f"{self.folder}/{next(self.n)}"
        try:
            state.write(d)
            self.kind.said(self.program, d, lambda fd: self.record.told(k, fd))
            self.kind.moved(d)
            self.kind.finish(self.program, d)
            (store, folders) = self.kind.result(self.program, d)
            for what, x, y in zip(("log", "open findings"), self.want[0], store):
                same(what, "after the stop", map(str, x), map(str, y))
            for what, x, y in zip(("done/", "failed/"), self.want[1] or (), folders or ()):
                same(what, "after the stop", x, y)
        except (AssertionError, OSError, sqlite3.Error, ValueError) as e:
            return f"{type(e).__name__}: {e}"
        finally:
            shutil.rmtree(d, ignore_errors=True)
        return None

    def faults(self, pool, seed, drop=None, most=None, random_ones=2, first=False):
        """(states tried, [(k, which, why)]); `first` = one is enough."""
        rng = random.Random(seed)
        all_states = list(replay.states(self.record, seed, drop, random_ones))
        rng.shuffle(all_states)
        all_states = all_states[:most]
        found, tried = [], 0
        for at in range(0, len(all_states), AT_ONCE):
            part = all_states[at:at + AT_ONCE]
            for (k, which, _), why in zip(part, pool.map(lambda s: self.fault(s[0], s[2]), part)):
                tried += 1
                if why:
                    found.append((k, which, why))
            if found and first:
                break
        return tried, found


def tell(trial, k, which, why):
    before = trial.record.op[max(0, k - 4):k]
    return f"{trial.kind.name}, stop at step {k} of {len(trial.record.op)}, {which}:\n" \
        f"{why[-3000:]}\nthe last steps: {'; '.join(map(str, before))}"


# Where the program syncs: the load, and which of its syncs are thought away.
def at(kind, *parts):
    return lambda op: op.kind == kind and all(p in (op.old or "") for p in parts)


SYNCS = (
    ("the store's log (synchronous=FULL)", Ingest, at("sync", "s.db-wal")),
    ("the store's log, with decisions", Decide, at("sync", "s.db-wal")),
    ("the store itself, when the log moves into it", Ingest, lambda op: op.kind == "sync" and op.old == "s.db"),
    ("folder of the store", Ingest, lambda op: op.kind == "syncdir" and op.old == ""),
    ("what the night writes", Nightly, at("sync", "out/")),
    ("folder of what the night writes", Nightly, at("syncdir", "out")),
    ("the folder that the night made", Nightly, lambda op: op.kind == "syncdir" and op.old == ""),
    ("what watch's night writes", Watch, at("sync", "out/")),
    ("status.json", Watch, at("sync", "status.json")),
    ("the backup", Watch, at("sync", "backup/")),
    ("folder of the backups", Watch, at("syncdir", "backup")),
    ("the compressed copy", Watch, at("sync", ".taking.part")),
    ("folder of the day in done/", Watch, at("syncdir", "drop/done/")),
    ("done/ with the folder of the day", Watch, lambda op: op.kind == "syncdir" and op.old == "drop/done"),
    ("a file that is moved to done/ as it is", Watch, at("sync", "work/inbox/events-2.csv.gz")),
    ("a file that failed", Watch, at("sync", "work/desk/other.csv")),
    ("the note of a file that failed", Watch, at("sync", ".why.txt")),
    ("failed/ with the note", Watch, at("syncdir", "drop/failed")),
    ("work/ with its folders", First, lambda op: op.kind == "syncdir" and op.old == "drop/work"),
    ("done/ without what is removed", Expire, lambda op: op.kind == "syncdir" and op.old.startswith("drop/done/")),
    ("failed/ without what is removed", Expire, at("syncdir", "drop/failed")),
    ("the folder of the backups, one removed", Expire, at("syncdir", "backup")),
    ("the folder of the pages, removed", Expire, at("syncdir", "out")),
    ("the folders of the daemon", First, lambda op: op.kind == "syncdir" and op.old == "drop"),
)


def main(program, folder, seed):
    shim, most = os.path.abspath(sys.argv[2]), int(sys.argv[4]) if len(sys.argv) > 4 else None
    trials = {k: Trial(program, shim, folder, k())
              for k in chosen(Ingest, Decide, Nightly, Watch, First, Expire, ExpireByNight)}
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count() + 1) as pool:
        for t in trials.values():
            tried, found = t.faults(pool, f"crash/{seed}", most=most, first=most is not None)
            print(f"crash.py: {t.kind.name}: {len(t.record.op)} steps, {tried} states, {len(found)} wrong", flush=True)
            assert not found, tell(t, *found[0])
        for what, kind, drop in SYNCS:
            if kind not in trials:
                continue
            t = trials[kind]
            n = sum(drop(op) for op in t.record.op)
            assert n, f"{what}: the program does not sync it at all"
            tried, found = t.faults(pool, f"crash/{seed}", drop, first=True)
            assert found, f"{what}: {n} syncs thought away, and none of {tried} states shows it"
            print(f"crash.py: without the sync of {what} ({n}): wrong after {tried} states", flush=True)


cases(main)
