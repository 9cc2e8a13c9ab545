#!/usr/bin/env python3
"""Odd: what a machine does now and then to a store, its folders and its clocks.

    odd.py PROGRAM SHIM

CASES="shut,many" in the environment: only these; MANY=20000: so many files in the last.
A store that another holds, that is damaged in one page, that lies on a share; folders that
may not be written to; one file that the store fails at; a clock that jumps; many files at once.
"""
import contextlib
import glob
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..")]
import load
import whole
from loads import Ingest, Watch
from program import cases, same, write_csv

CLAIMED = "work"
PATIENCE = 60  # seconds
MANY = 600


def call(program, words, env=None):
    p = subprocess.run([program.path, *words], env={**program.env, **(env or {})}, capture_output=True,
                       stdin=subprocess.DEVNULL, check=False, timeout=PATIENCE)
    return p.returncode, (p.stdout + p.stderr).decode(errors="replace")


def until(what, true):
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end, f"did not happen: {what() if callable(what) else what}"
        time.sleep(0.02)


def share(program, shim, d):
    """A rollback journal there, said by status; a log here."""
    for kind, journal, said in (("0x6969", "delete", True), ("0xff534d42", "delete", True), ("0xef53", "wal", False)):
        os.makedirs(f"{d}/{kind}")
        Ingest().begin(program, f"{d}/{kind}")
        env = {"LD_PRELOAD": shim, "SHIM_FS": kind}
        db = f"{d}/{kind}/s.db"
        code, text = call(program, ["ingest", f"{d}/{kind}/in", "--db", db], env)
        assert code == 0, text
        with contextlib.closing(sqlite3.connect(db)) as c:
            assert c.execute("PRAGMA journal_mode").fetchone()[0] == journal, kind
        _, text = call(program, ["status", "--db", db], env)
        assert ("write-ahead log" in text) == said, text
    # One that was made here and taken there.
    code, text = call(program, ["ingest", f"{d}/0xef53/in", "--db", db], {"LD_PRELOAD": shim, "SHIM_FS": "0x6969"})
    with contextlib.closing(sqlite3.connect(db)) as c:
        assert code == 0 and c.execute("PRAGMA journal_mode").fetchone()[0] == "delete", text


def locked(program, shim, d):
    """Whoever waits for a minute in vain says so; nothing is half done."""
    kind = Ingest()
    kind.begin(program, d)
    assert call(program, kind.words(d))[0] == 0
    want = whole.store(program, f"{d}/s.db", night=False)
    write_csv(f"{d}/new.csv", ("account", "time", "event"), [("1", "2026-10-01T00:00:00Z", "test")])
    other = sqlite3.connect(f"{d}/s.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    code, text = call(program, ["ingest", f"{d}/new.csv", "--db", f"{d}/s.db"], {"LD_PRELOAD": shim, "SHIM_WARP": "1"})
    assert code == 3 and "locked" in text, text
    other.execute("ROLLBACK")
    other.close()
    assert whole.store(program, f"{d}/s.db", night=False) == want


def put(store, db):
    """In its place, without the log of what lay there."""
    for tail in ("-wal", "-shm", "-journal"):
        with contextlib.suppress(FileNotFoundError):
            os.remove(f"{db}{tail}")
    shutil.copy(store, db)


def night(program, d):
    """A night of the daemon over the store as it is, told or not."""
    log = f"{d}/night.log"
    with open(log, "wb") as f:
        p = subprocess.Popen([program.path, *[w for w in Watch().words(d) if w != "--once"]], stderr=f,
                             stdin=subprocess.DEVNULL, stdout=f, env=program.env)
    try:
        until("an end of the night", lambda: p.poll() is not None or b"what=backup" in whole.content(log) or
              b"level=error" in whole.content(log))
    finally:
        if p.poll() is None:
            p.send_signal(signal.SIGTERM)
        assert p.wait(timeout=PATIENCE) in (0, 3)


def damaged(program, _shim, d):
    """In each page in turn: nothing crashes, what is found is told, the backup is not written
    over, and with it in its place all is there again."""
    kind = Watch()
    kind.begin(program, d)
    assert call(program, kind.words(d))[0] == 0
    backup, = [p for p in glob.glob(f"{d}/backup/s.db.*")]
    want = whole.store(program, f"{d}/s.db")
    # So that a night is due.
    with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
        c.execute("UPDATE night SET at = 1577836800000 + id")
        c.commit()
        c.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    shutil.copy(f"{d}/s.db", f"{d}/good")
    os.makedirs(f"{d}/told")
    page, told = 32768, 0
    pages = os.path.getsize(f"{d}/good") // page
    for n in range(pages):
        put(f"{d}/good", f"{d}/s.db")
        with open(f"{d}/s.db", "r+b") as f:
            f.seek(n * page + (100 if n == 0 else 0))
            f.write(b"\xa5" * (page - 100))
        said = False
        for words in (["status"], ["triage"], ["export", "events"], ["ingest", *glob.glob(f"{d}/drop/done/*/*")]):
            code, text = call(program, [*words, "--db", f"{d}/s.db"])
            assert code in (0, 1, 3), f"page {n}: {words[0]}: exit {code}\n{text}"
            assert code != 3 or "damaged" in text or "malformed" in text or "not a" in text, f"page {n}: {text}"
            said |= code == 3
        told += said
        put(f"{d}/s.db", f"{d}/bad")
        code, text = call(program, ["nightly", f"{d}/none", "--out", f"{d}/told", "--db", f"{d}/bad"])
        # It looks at each page itself; where it can still tell anything, that comes first.
        assert code == 3, f"page {n}: exit {code}\n{text}"
        if os.path.exists(f"{d}/told/digest.txt"):
            with open(f"{d}/told/digest.txt", encoding="utf-8") as f:
                text = f.readline()
            os.remove(f"{d}/told/digest.txt")
        assert "damaged" in text.lower() or "malformed" in text, f"page {n}: {text}"
        before = whole.content(backup)
        # The backup is checked before it takes its place.
        if n % 3 == 0:
            night(program, d)
            assert whole.content(backup) == before and whole.backups(f"{d}/backup") == 1, f"page {n}"
    assert told > pages // 2, f"{told} of {pages}"
    # As README.md says.
    put(backup, f"{d}/s.db")
    code, text = call(program, kind.words(d))
    assert code == 0, text
    have = whole.store(program, f"{d}/s.db")
    for what, x, y in zip(("log", "open findings"), want, have):
        same(what, "from the backup", x, y)


def alone(program, _shim, d):
    """A file that the store fails at holds up nobody, and is taken in when it can be."""
    kind = Watch()
    kind.begin(program, d)
    with sqlite3.connect(f"{d}/s.db") as c:
        c.execute("CREATE TRIGGER no BEFORE INSERT ON file WHEN new.name LIKE '%events-1.csv' "
                  "BEGIN SELECT raise(ABORT, 'not this one'); END")
    with open(f"{d}/log", "wb") as log:
        p = subprocess.Popen([program.path, *[w for w in kind.words(d) if w != "--once"]], stderr=log,
                             stdin=subprocess.DEVNULL, stdout=log,
                             env={**program.env, "LD_PRELOAD": _shim, "SHIM_WARP": "1"})
        try:
            until("the others are taken", lambda: len(glob.glob(f"{d}/drop/done/*/*")) == 5)
            until("it alone is left", lambda: os.listdir(f"{d}/drop/{CLAIMED}/inbox") == ["events-1.csv"])
            write_csv(f"{d}/drop/inbox/late.csv", ("account", "time", "event"), [("1", "2026-10-01T00:00:00Z", "test")])
            until("a late one is taken", lambda: len(glob.glob(f"{d}/drop/done/*/late*")) == 1)
            with contextlib.closing(sqlite3.connect(f"{d}/s.db", timeout=PATIENCE)) as c:
                c.execute("DROP TRIGGER no")
                c.commit()
            until("it is taken", lambda: not os.listdir(f"{d}/drop/{CLAIMED}/inbox"))
        finally:
            p.send_signal(signal.SIGTERM)
            assert p.wait(timeout=PATIENCE) == 0


def clock(program, shim, d):
    """The wall clock is set back and forth: one night is told once, and nothing is lost."""
    kind = Watch()
    kind.begin(program, d)
    jump = lambda s: write_csv(f"{d}/jump", (str(s),), [])
    jump(0)
    nights = lambda: log().count("what=night ")

    def log():
        with open(f"{d}/log", encoding="utf-8") as f:
            return f.read()
    words = [w for w in kind.words(d) if w != "--once"]
    with open(f"{d}/log", "wb") as f:
        p = subprocess.Popen([program.path, *words], stderr=f, stdout=f, stdin=subprocess.DEVNULL,
                             env={**program.env, "LD_PRELOAD": shim, "SHIM_CLOCK": f"{d}/jump"})
    try:
        until("the night", lambda: nights() == 1)
        for n, seconds in enumerate((-2, -3600, -20 * 3600, 0, -2, 0)):
            jump(seconds)
            write_csv(f"{d}/drop/inbox/n{n}.csv", ("account", "time", "event"), [("1", f"2026-10-0{n + 1}T00:00:00Z", "test")])
            until(f"a file after {seconds}", lambda n=n: glob.glob(f"{d}/drop/done/*/n{n}*"))
            until("nothing is due", lambda: not os.listdir(f"{d}/drop/{CLAIMED}/inbox"))
            time.sleep(0.2)
            assert nights() == 1, f"{nights()} nights after {seconds} s\n{log()}"
        jump(86400)
        write_csv(f"{d}/drop/inbox/last.csv", ("account", "time", "event"), [("1", "2026-10-08T00:00:00Z", "test")])
        until("the next night", lambda: nights() == 2)
        ticks = os.sysconf("SC_CLK_TCK")
        used = lambda: sum(int(x) for x in open(f"/proc/{p.pid}/stat", encoding="ascii").read().rsplit(")", 1)[1].split()[11:13])
        begun = used()
        time.sleep(1)
        assert used() - begun < ticks // 2, "it is busy with nothing"
    finally:
        p.send_signal(signal.SIGTERM)
        assert p.wait(timeout=PATIENCE) == 0
    assert len(program.table(f"{d}/s.db", "events")) == len(load.rows()) + 7


SOMEBODY = 61001  # a user who is not root, where we are: root cannot be kept out


class Shut:
    """One folder of a daemon's may not be written to, nor what lies in it; afterwards it may."""

    def __init__(self, program, d, folder):
        self.d, self.folder = d, f"{d}/{folder}" if folder else d
        self.kind = Watch()
        self.kind.begin(program, d)
        self.calm = f"{d}.calm"
        shutil.copytree(d, self.calm)
        self.user = SOMEBODY if os.geteuid() == 0 else None
        for name in ("drop/done", "drop/failed", f"drop/{CLAIMED}/inbox", f"drop/{CLAIMED}/desk", "out"):
            os.makedirs(f"{d}/{name}", exist_ok=True)
        if self.user:
            for path, _, files in os.walk(d):
                for name in (path, *(f"{path}/{f}" for f in files)):
                    os.chown(name, self.user, self.user)
        self.env = program.env

    def start(self, program, words, **more):
        return subprocess.Popen([program, *words], env=self.env, stdin=subprocess.DEVNULL, cwd="/", user=self.user,
                                group=self.user, extra_groups=[] if self.user else None, **more)

    def __enter__(self):
        self.mode = os.stat(self.folder).st_mode
        os.chmod(self.folder, 0o500)
        return self

    def __exit__(self, *_):
        os.chmod(self.folder, self.mode)


def everything(d):
    """What was dropped and what was made of it, by content; the note of a failure is no copy."""
    out = set()
    for path, _, files in os.walk(f"{d}/drop"):
        out |= {whole.content(f"{path}/{f}") for f in files if not f.startswith(".") and f != "status.json" and
                not f.endswith(".why.txt")}
    return out


def shut_one(program, path, d, folder, said, begins, words):
    """The daemon says what it cannot do, loses nothing, and goes on when it can."""
    os.makedirs(d)
    s = Shut(program, d, folder)
    want = everything(d)
    log = f"{d}.log"
    with s, open(log, "wb") as f:
        p = s.start(path, words, stdout=f, stderr=f)
        try:
            until(lambda: f"{folder or 'the folder of the store'}: it is said\n{whole.content(log).decode()}", lambda: p.poll() is not None or
                  said in whole.content(log))
            told = whole.content(log).decode()
            if not begins:
                assert p.wait(timeout=PATIENCE) == 3, told
            assert said in whole.content(log), told
            assert begins == (p.poll() is None), told
            assert want <= everything(d), "something is gone"
        finally:
            if p.poll() is None:
                p.send_signal(signal.SIGTERM)
            assert p.wait(timeout=PATIENCE) in (0, 3)
    assert want <= everything(d), "something is gone"
    p = s.start(path, [*words, "--once"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    out, _ = p.communicate(timeout=PATIENCE)
    assert p.returncode == 0, out.decode()
    assert call(program, Watch().words(s.calm))[0] == 0
    store, folders = Watch().result(program, d)
    calm, lie = Watch().result(program, s.calm)
    for what, x, y in zip(("log", "open findings"), calm, store):
        same(what, folder, map(str, x), map(str, y))
    assert folders == lie, f"{folder}: files are not where they should be"
    shutil.rmtree(d)
    shutil.rmtree(s.calm)


def shut(program, _shim, d):
    """Folders that may not be written to are said, whoever is kept out; nothing is lost."""
    at = d
    while os.geteuid() == 0 and at != "/":
        os.chmod(at, os.stat(at).st_mode | 0o011)
        at = os.path.dirname(at)
    path = shutil.copy(program.path, f"{d}/tripsift")
    os.chmod(path, 0o755)
    no = b"Permission denied"
    for folder, said, begins in (("drop/inbox", b"may not be moved", True), ("drop/desk", b"may not be moved", True), ("drop/done", no, True),
                                 ("drop/failed", no, True), ("out", no, True), ("backup", no, True),
                                 ("drop", no, True), ("", no, False)):
        w = f"{d}/{folder.replace('/', '-') or 'store'}"
        words = [x for x in Watch().words(w) if x != "--once"] + ["--look", "1"]
        print("odd.py: shut:", folder or "store", flush=True)
        shut_one(program, path, w, folder, said, begins, words)
    w = f"{d}/nightly"
    os.makedirs(w)
    with Shut(program, w, "out") as s:
        p = s.start(path, ["nightly", f"{w}/none", "--out", f"{w}/out", "--db", f"{w}/s.db"],
                    stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        text, _ = p.communicate(timeout=PATIENCE)
    assert p.returncode == 3 and no in text, text


def many(program, _shim, d):
    """Many small files at once: each is taken once."""
    n = int(os.environ.get("MANY", MANY))
    os.makedirs(f"{d}/drop/inbox")
    for i in range(n):
        write_csv(f"{d}/drop/inbox/{i}.csv", ("account", "time", "event", "zone"),
                  [(str(i % 97), f"2026-10-01T{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z", "zone-open", str(i))])
    begun = time.monotonic()
    p = subprocess.run([program.path, "watch", f"{d}/drop", "--db", f"{d}/s.db", "--settle", "0", "--once"],
                       env=program.env, capture_output=True, check=False, timeout=PATIENCE + n / 10)
    print(f"odd.py: {n} files in {time.monotonic() - begun:.1f} s")
    assert p.returncode == 0, p.stderr[-2000:]
    assert len(program.table(f"{d}/s.db", "events")) == n
    assert len(glob.glob(f"{d}/drop/done/*/*")) == n and not glob.glob(f"{d}/drop/failed/*")


def main(program, folder, _seed):
    shim = os.path.abspath(sys.argv[2])
    names = os.environ.get("CASES")
    for case in (share, locked, damaged, alone, clock, shut, many):
        if names and case.__name__ not in names.split(","):
            continue
        d = f"{folder}/{case.__name__}"
        os.makedirs(d)
        case(program, shim, d)
        print(f"odd.py: {case.__name__}: ok", flush=True)


cases(main)
