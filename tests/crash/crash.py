#!/usr/bin/env python3
"""Crash: the power goes at any instant; nothing may be lost, and nothing said be untrue.

    crash.py PROGRAM SHIM [SEED] [STATES]

The program runs once over a small load while shim.c records every change that it makes.
replay.py makes of the record what the disk may hold after a stop at each sync, rename and
unlink: what was synced, and any part of the rest. On each such state (or STATES of each
load, by chance) it is looked at what was said before the stop, the program runs again, and
then everything must be there exactly once, as if nothing had happened.

Then the proof that each sync is needed: the same, with the states of a program that does all
but that one. Each time some state must come out wrong.
"""
import concurrent.futures
import contextlib
import glob
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..")]
import load
import replay
import whole
from program import cases, same


AT_ONCE = 8


def run(program, words, env=None, ok=(0, 1)):
    p = subprocess.run([program.path, *words], env={**program.env, **(env or {})}, capture_output=True,
                       stdin=subprocess.DEVNULL, check=False, timeout=120)
    assert p.returncode in ok, f"exit {p.returncode}: {p.stderr.decode(errors='replace')[-2000:]}"
    return p


def ask(d, sql):
    """Of the store as it lies there, which stays as it is."""
    os.makedirs(f"{d}.look")
    try:
        for tail in ("", "-wal", "-journal"):
            if os.path.exists(f"{d}/s.db{tail}"):
                shutil.copy(f"{d}/s.db{tail}", f"{d}.look/s.db{tail}")
        with contextlib.closing(sqlite3.connect(f"{d}.look/s.db")) as c:
            return c.execute(sql).fetchone()[0] if c.execute("SELECT 1 FROM sqlite_schema").fetchone() else 0
    finally:
        shutil.rmtree(f"{d}.look")


class Load:
    """What is run; `begin` makes what lies there before, `said` looks at what was said."""
    night = False

    def end(self):
        pass

    def finish(self, program, d):
        run(program, self.words(d))

    def result(self, program, d):
        return whole.store(program, f"{d}/s.db", night=self.night), None


class Ingest(Load):
    name = "ingest"

    def begin(self, program, d):
        os.makedirs(f"{d}/in")
        load.exports(f"{d}/in")
        load.lists(f"{d}/in")

    def words(self, d):
        return ["ingest", f"{d}/in", "--db", f"{d}/s.db", "--batch", "20"]

    def said(self, program, d, told):
        # Who has read that a file is stored may delete it.
        if told(1):
            shutil.rmtree(f"{d}/in")
            os.makedirs(f"{d}/in")
            load.lists(f"{d}/in")


class Decide(Load):
    name = "decide"

    def begin(self, program, d):
        os.makedirs(f"{d}/in")
        load.exports(f"{d}/in")
        run(program, ["ingest", f"{d}/in", "--db", f"{d}/s.db"])
        shutil.rmtree(f"{d}/in")
        self.ids = [f["id"] for f in program.findings(f"{d}/s.db")]
        # While others have the store open, the log stays where it is. In this process its locks
        # would go when the file is copied.
        self.other = subprocess.Popen(["sqlite3", f"{d}/s.db"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.other.stdin.write(b"SELECT count(*) FROM finding;\n")
        self.other.stdin.flush()
        assert int(self.other.stdout.readline()) == len(self.ids)

    def end(self):
        self.other.communicate()

    def words(self, d):
        return ["decide", *self.ids, "--as", "seen", "--who", "R. Moser", "--db", f"{d}/s.db"]

    def said(self, program, d, told):
        if told(1):
            assert ask(d, "SELECT count(*) FROM decision") == ask(d, "SELECT count(*) FROM finding"), \
                "a decision that was told as recorded is not there"

    def result(self, program, d):
        c = program.table(f"{d}/s.db", "decisions")
        # Said again at another time is another decision.
        assert {r["finding"] for r in c} == set(self.ids), "not each is decided"
        return (program.table(f"{d}/s.db", "events"), []), None


class Nightly(Load):
    name, night = "nightly", True

    def begin(self, program, d):
        os.makedirs(f"{d}/in")
        run(program, ["nightly", f"{d}/in", "--out", f"{d}/out", "--db", f"{d}/s.db", "--now", "2020-01-01T00:00"])
        shutil.rmtree(f"{d}/out")
        load.exports(f"{d}/in")
        load.lists(f"{d}/in")

    def words(self, d):
        return ["nightly", f"{d}/in", "--out", f"{d}/out", "--db", f"{d}/s.db"]

    def said(self, program, d, told):
        nights = ask(d, "SELECT count(*) FROM night")
        assert nights == 2 or not told(1), "a night that was told does not count"
        if nights == 2:
            told_night(d)


def told_night(d):
    for name in glob.glob(f"{d}/out/*.part"):
        os.remove(name)
    assert os.path.isdir(f"{d}/out"), "the folder of the night's output is gone"
    whole.night(f"{d}/out")
    with open(f"{d}/out/findings.json", encoding="utf-8") as f:
        assert json.load(f)["findings"], "the night counts, and what it told is the one before"


class Watch(Load):
    name, night, batch = "watch", True, "400000"

    def begin(self, program, d):
        os.makedirs(f"{d}/none")
        run(program, ["nightly", f"{d}/none", "--out", f"{d}/out", "--db", f"{d}/s.db", "--now", "2020-01-01T00:00"])
        shutil.rmtree(f"{d}/out")
        os.makedirs(f"{d}/backup")
        shutil.copy(f"{d}/s.db", f"{d}/backup/s.db.2020-01-01")
        load.dropped(f"{d}/drop")

    def words(self, d):
        return ["watch", f"{d}/drop", "--db", f"{d}/s.db", "--settle", "0", "--batch", self.batch, "--once",
                "--nightly", "00:00", "--out", f"{d}/out", "--backup", f"{d}/backup", "--keep", "1"]

    def said(self, program, d, told):
        log = told(2)
        assert ask(d, "SELECT count(*) FROM file") >= log.count("what=taken"), "a file that was told as taken"
        if self.night:
            nights = ask(d, "SELECT count(*) FROM night")
            assert nights == 2 or "what=night " not in log, "a night that was told does not count"
            if nights == 2:
                told_night(d)
            assert whole.backups(f"{d}/backup") >= 1, "the old backup is gone, and no new one there"
            news = [p for p in glob.glob(f"{d}/backup/s.db.????-??-??") if not p.endswith("2020-01-01")]
            assert news or "what=backup" not in log, "a backup that was told is not there"
        for path in glob.glob(f"{d}/drop/failed/*"):
            if not path.endswith((".why.txt", ".part")):
                assert os.path.getsize(path) and whole.content(f"{path}.why.txt"), f"{path} lost its note or content"
        if os.path.exists(f"{d}/drop/status.json"):
            with open(f"{d}/drop/status.json", encoding="utf-8") as f:
                json.load(f)

    def result(self, program, d):
        if self.night:
            whole.night(f"{d}/out")
            # The older one goes when the next is made.
            assert whole.backups(f"{d}/backup") in (1, 2), os.listdir(f"{d}/backup")
        return whole.store(program, f"{d}/s.db", night=self.night), whole.folders(f"{d}/drop")


class First(Watch):
    """The first start: neither store nor folders are there."""
    name, night, batch = "first start", False, "20"

    def begin(self, program, d):
        load.dropped(f"{d}/drop")

    def words(self, d):
        return super().words(d)[:9]


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
        kind.finish(program, d)
        self.want = kind.result(program, d)
        self.n = 0

    def fault(self, k, state):
        """Why the state is wrong; None = it is not."""
        self.n += 1
        d = f"{self.folder}/{self.n}"
        try:
            state.write(d)
            self.kind.said(self.program, d, lambda fd: self.record.told(k, fd))
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
    ("the folders of the daemon", First, lambda op: op.kind == "syncdir" and op.old == "drop"),
)


def main(program, folder, seed):
    shim, most = os.path.abspath(sys.argv[2]), int(sys.argv[4]) if len(sys.argv) > 4 else None
    trials = {k: Trial(program, shim, folder, k()) for k in (Ingest, Decide, Nightly, Watch, First)}
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count() + 1) as pool:
        for t in trials.values():
            tried, found = t.faults(pool, f"crash/{seed}", most=most, first=most is not None)
            print(f"crash.py: {t.kind.name}: {len(t.record.op)} steps, {tried} states, {len(found)} wrong", flush=True)
            assert not found, tell(t, *found[0])
        for what, kind, drop in SYNCS:
            t = trials[kind]
            n = sum(drop(op) for op in t.record.op)
            assert n, f"{what}: the program does not sync it at all"
            tried, found = t.faults(pool, f"crash/{seed}", drop, first=True)
            assert found, f"{what}: {n} syncs thought away, and none of {tried} states shows it"
            print(f"crash.py: without the sync of {what} ({n}): wrong after {tried} states", flush=True)


cases(main)
