"""What the program is given to do in crash.py and fault.py, and what must hold of it."""
import contextlib
import glob
import json
import os
import shutil
import sqlite3
import subprocess

import load
import whole


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
