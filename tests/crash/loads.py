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
from program import judged, write_csv


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


def chosen(*kinds):
    """Those that LOADS names, else all."""
    names = os.environ.get("LOADS")
    return [k for k in kinds if not names or k.name in names.split(",")]


class Load:
    """What is run; `begin` makes what lies there before, `said` looks at what was said."""
    night = False

    def end(self):
        pass

    def moved(self, d):
        """What was made elsewhere lies there now."""

    def undone(self, p, d):
        """Does the program say that something is left for the next time? Which comes."""
        return b"failed and" in p.stdout  # a night that could not read a file

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


def new_backups(d):
    return [p for p in glob.glob(f"{d}/backup/s.db.????-??-??") if not p.endswith("2020-01-01")]


class Watch(Load):
    name, night, batch = "watch", True, "400000"

    def begin(self, program, d):
        os.makedirs(f"{d}/none")
        run(program, ["nightly", f"{d}/none", "--out", f"{d}/out", "--db", f"{d}/s.db", "--now", "2020-01-01T00:00"])
        shutil.rmtree(f"{d}/out")
        os.makedirs(f"{d}/backup")
        shutil.copy(f"{d}/s.db", f"{d}/backup/s.db.2020-01-01")
        os.utime(f"{d}/backup/s.db.2020-01-01", (1577836800, 1577836800))
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
            assert new_backups(d) or "what=backup" not in log, "a backup that was told is not there"
        for path in glob.glob(f"{d}/drop/failed/*"):
            if not path.endswith((".why.txt", ".part")):
                assert os.path.getsize(path) and whole.content(f"{path}.why.txt"), f"{path} lost its note or content"
        if os.path.exists(f"{d}/drop/status.json"):
            with open(f"{d}/drop/status.json", encoding="utf-8") as f:
                json.load(f)

    def result(self, program, d):
        if self.night:
            whole.night(f"{d}/out")
            # The older one goes when the next is made; one that was missed is made up for.
            assert whole.backups(f"{d}/backup") in (1, 2) and new_backups(d), os.listdir(f"{d}/backup")
        return whole.store(program, f"{d}/s.db", night=self.night), whole.folders(f"{d}/drop")


class First(Watch):
    """The first start: neither store nor folders are there."""
    name, night, batch = "first start", False, "20"

    def begin(self, program, d):
        load.dropped(f"{d}/drop")

    def words(self, d):
        return super().words(d)[:9]


LONG_AGO = "2021-11-01"  # a day of done/, and the age of all that goes


class Expire(Load):
    """What is older than it is to be kept, of every kind."""
    name = "expire"

    def begin(self, program, d):
        load.dropped(f"{d}/drop")
        write_csv(f"{d}/drop/inbox/old.csv", load.HEAD, load.old_rows())
        shutil.copytree(f"{d}/drop/inbox", f"{d}/in")
        run(program, ["watch", f"{d}/drop", "--db", f"{d}/s.db", "--settle", "0", "--once"])
        os.makedirs(f"{d}/none")
        run(program, ["nightly", f"{d}/none", "--out", f"{d}/out", "--db", f"{d}/s.db"])
        self.open = judged(program, f"{d}/s.db")[0]
        os.makedirs(f"{d}/backup")
        for day in ("2021-01-01", "2021-01-02", "2026-10-01"):
            shutil.copy(f"{d}/s.db", f"{d}/backup/s.db.{day}")
        write_csv(f"{d}/in/kept.csv", ("rule", "setting", "value"), [
            ("kept", "events", "400"), *(("kept", x, "30") for x in ("set_aside", "done", "failed", "backups", "pages"))])
        run(program, ["ingest", f"{d}/in/kept.csv", "--db", f"{d}/s.db"])
        os.remove(f"{d}/in/kept.csv")
        os.remove(f"{d}/in/misplaced.csv")
        self.age(d)
        self.old = self.files(d)
        self.root, self.rows, self.aside = d, *self.count(d)

    def age(self, d):
        day, = os.listdir(f"{d}/drop/done")
        os.rename(f"{d}/drop/done/{day}", f"{d}/drop/done/{LONG_AGO}")
        os.makedirs(f"{d}/drop/done/2026-10-01")
        os.rename(f"{d}/drop/done/{LONG_AGO}/roster.csv.gz", f"{d}/drop/done/2026-10-01/roster.csv.gz")
        write_csv(f"{d}/drop/done/{LONG_AGO}/of-somebody.csv", ("a",), [])
        os.makedirs(f"{d}/drop/done/2021-11-02")
        os.rename(f"{d}/drop/done/{LONG_AGO}/sites.csv.gz", f"{d}/drop/done/2021-11-02/sites.csv.gz")
        with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
            c.execute("UPDATE file SET taken = 1635724800000, place = replace(place, ?, ?)", (
                f"/done/{day}/", f"/done/{LONG_AGO}/"))
            for name, day in (("roster", "2026-10-01"), ("sites", "2021-11-02")):
                c.execute("UPDATE file SET place = replace(place, ?, ?) WHERE name LIKE ?", (
                    f"/done/{LONG_AGO}/", f"/done/{day}/", f"%/{name}.csv"))
            c.commit()
        for folder, _, files in os.walk(d):
            for name in files:
                os.utime(f"{folder}/{name}", (1635724800, 1635724800))

    def moved(self, d):
        with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
            c.execute("UPDATE file SET place = replace(place, ?, ?)", (self.root + "/", d + "/"))
            c.commit()

    def words(self, d):
        return ["expire", f"{d}/drop", "--db", f"{d}/s.db", "--backup", f"{d}/backup", "--out", f"{d}/out", "--yes",
                "--now", "2030-01-01"]

    def is_done(self, told):
        return told(1)

    def files(self, d):
        """{kind: its copies}"""
        find = lambda what: {p[len(d):] for p in glob.glob(f"{d}/{what}", recursive=True) if os.path.isfile(p)}
        return {"done": find("drop/done/*/*"), "backups": find("backup/*"), "pages": find("out/**"),
                "failed": {p for p in find("drop/failed/*") if not p.endswith(".why.txt")}}

    def count(self, d):
        """(events, rows set aside): there, or counted as removed."""
        gone = "(SELECT coalesce(sum(n), 0) FROM removal WHERE kind = '{}')"
        return (ask(d, f"SELECT coalesce(sum(n), 0) + {gone.format('events')} FROM run"),
                ask(d, f"SELECT count(*) + {gone.format('set_aside')} FROM aside"))

    def said(self, program, d, told):
        assert self.count(d) == (self.rows, self.aside), f"{self.count(d)} of {self.rows}, {self.aside} accounted for"
        assert whole.backups(f"{d}/backup") >= 1 and os.path.exists(f"{d}/backup/s.db.2026-10-01")
        for path in glob.glob(f"{d}/drop/failed/*"):
            assert path.endswith(".why.txt") or whole.content(f"{path}.why.txt"), f"{path} without its note"
        now = self.files(d)
        done = self.is_done(told)
        for kind, there in self.old.items():
            gone, noted = len(there - now[kind]), ask(d, f"SELECT coalesce(sum(n), 0) FROM removal WHERE kind = '{kind}'")
            assert noted <= gone, f"{kind}: {noted} noted as removed, {gone} are gone"
            assert noted == gone or not done, f"{kind}: told as removed: {noted} are noted, {gone} are gone"

    def result(self, program, d):
        found = whole.store(program, f"{d}/s.db", night=False)
        assert found[1] == self.open, "other findings are open"
        assert self.count(d) == (self.rows, self.aside)
        with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
            lost = [p for p, in c.execute("SELECT place FROM file WHERE place <> ''") if "/done/" in p and not os.path.exists(p)]
            noted = dict(c.execute("SELECT kind, sum(n) FROM removal GROUP BY kind"))
        assert not lost, f"the store thinks that it lies there: {lost}"
        assert noted.get("events") and noted.get("set_aside") == 12, noted
        now = self.files(d)
        assert all(self.old[kind] - now[kind] for kind in self.old), "of one kind nothing was removed"
        # Each is noted with its row in the store.
        assert noted["done"] == len(self.old["done"] - now["done"]), noted
        shutil.copy(f"{d}/s.db", f"{d}/again.db")
        try:
            for f in program.ingest(f"{d}/again.db", f"{d}/in"):
                assert f["stored"] == 0 and f["rows"] == f["repeated"] + f["set_aside"] + f["expired"], f"came back: {f}"
        finally:
            for path in glob.glob(f"{d}/again.db*"):
                os.remove(path)
        return found, (sorted(set().union(*(now[k] for k in now if k != "failed"))), sorted(
            p[len(d):] for p in glob.glob(f"{d}/drop/failed/*")))


class ExpireByNight(Expire):
    """The same by the daemon, whose night tells of it and writes the pages anew."""
    name, night = "night that expires", True

    def begin(self, program, d):
        super().begin(program, d)
        self.next_night(d)
        self.made = set(os.listdir(f"{d}/backup"))

    def words(self, d):
        return ["watch", f"{d}/drop", "--db", f"{d}/s.db", "--settle", "0", "--once", "--nightly", "00:00",
                "--out", f"{d}/out", "--backup", f"{d}/backup"]

    @staticmethod
    def next_night(d):
        with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
            c.execute("UPDATE night SET at = 1577836800000 + id")
            c.commit()

    def undone(self, p, d):
        left = b"what=not-removed" in p.stderr
        if left:
            self.next_night(d)
        return left

    def is_done(self, told):
        return "what=night " in told(2)

    def files(self, d):
        return {kind: there for kind, there in super().files(d).items() if kind != "pages"}

    def said(self, program, d, told):
        super().said(program, d, told)
        if ask(d, "SELECT count(*) FROM night") == 2:
            told_night(d)

    def result(self, program, d):
        found, _ = super().result(program, d)
        whole.night(f"{d}/out")
        with open(f"{d}/out/digest.txt", encoding="utf-8") as f:
            text = f.read()
        with contextlib.closing(sqlite3.connect(f"{d}/s.db")) as c:
            told = c.execute("SELECT kind FROM removal WHERE id > (SELECT removal FROM night ORDER BY id DESC"
                             " LIMIT 1 OFFSET 1)").fetchall()
        for kind, said in (("events", "events: "), ("done", "files in done/: ")):
            assert ((kind,) in told) == (f"\n  {said}" in text), f"{told}\n{text}"
        # The day is that of the run.
        new = [n for n in os.listdir(f"{d}/backup") if n not in self.made and not n.endswith(".part")]
        assert new, "the night has no backup"
        return found, None
