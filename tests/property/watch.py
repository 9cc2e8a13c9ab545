#!/usr/bin/env python3
"""Watch: the daemon as its supervisor and the people around it see it."""
import contextlib
import fcntl
import glob
import gzip
import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, ".."))
from program import cases, write_csv

CLAIMED = "work"
HEAD = ("account", "time", "event", "zone")
PATIENCE = 60  # seconds; a loaded machine is slow, and a rest after a fault takes half of it
AT_ONCE = 5     # it is a second; under sanitizers on a loaded machine several


def until(what, true):
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if true():
            return
        time.sleep(0.02)
    raise AssertionError(f"did not happen: {what}")


class Daemon:
    def __init__(self, program, d, *words, env=None, before=()):
        self.d, self.log = d, f"{d}/log"
        self.p = subprocess.Popen([*before, program.path, "watch", f"{d}/drop", "--db", f"{d}/s.db", *words],
                                  env={**program.env, **(env or {})}, stdin=subprocess.DEVNULL,
                                  stdout=subprocess.DEVNULL, stderr=open(self.log, "ab"))
        until("the daemon starts", lambda: self.said("what=start") or self.p.poll() is not None)

    def said(self, text):
        with open(self.log, encoding="utf-8") as f:
            return text in f.read()

    def hears(self, sig, text):
        self.p.send_signal(sig)
        until(text, lambda: self.said(text))

    def end(self):
        self.p.send_signal(signal.SIGTERM)
        begun = time.monotonic()
        code = self.p.wait(timeout=PATIENCE)
        return code, time.monotonic() - begun


def folder_of(folder, name):
    d = f"{folder}/{name}"
    os.makedirs(d)
    return d


def drop(d, tray, name, rows, head=HEAD):
    """As it should be done: written under another name and renamed."""
    write_csv(f"{d}/drop/{tray}/{name}.part", head, rows)
    os.rename(f"{d}/drop/{tray}/{name}.part", f"{d}/drop/{tray}/{name}")


def done(d, name):
    return glob.glob(f"{d}/drop/done/*/{name}")


def events(n, minute=0):
    return [("A1", f"2026-10-01T08:{minute:02d}:{i:02d}Z", "zone-open", "1") for i in range(n)]


def ordinary_day(program, folder):
    d = folder_of(folder, "day")
    w = Daemon(program, d, "--settle", "1")
    drop(d, "inbox", "a.csv", events(3))
    until("a.csv is done", lambda: done(d, "a.csv.gz"))
    assert gzip.open(done(d, "a.csv.gz")[0]).read().count(b"\n") == 4
    # The same name with other content; one that is written in place, and slowly.
    drop(d, "inbox", "a.csv", events(5))
    until("the second a.csv is done", lambda: done(d, "a.2.csv.gz"))
    with open(f"{d}/drop/inbox/slow.csv", "w", encoding="utf-8") as f:
        f.write("account,time,event\n")
        f.flush()
        time.sleep(1.6)
        assert os.path.exists(f"{d}/drop/inbox/slow.csv"), "taken while somebody wrote it"
        f.write("A1,2026-10-01T09:00:00Z,test\n")
    until("slow.csv is done", lambda: done(d, "slow.csv.gz"))
    assert len(program.table(f"{d}/s.db", "events")) == 6
    # Each folder takes its own kinds only.
    drop(d, "inbox", "set.csv", [("chatter", "bursts", "9")], ("rule", "setting", "value"))
    drop(d, "desk", "late.csv", events(1, 30))
    until("both failed", lambda: len(glob.glob(f"{d}/drop/failed/*.why.txt")) == 2)
    assert not program.run(f"{d}/s.db", "rules", "chatter", "--format", "csv").count(",9,")
    drop(d, "desk", "set.csv", [("chatter", "bursts", "9")], ("rule", "setting", "value"))
    until("set.csv is done", lambda: done(d, "set.csv.gz"))
    w.hears(signal.SIGHUP, "what=setting name=chatter.bursts")
    # Things that are no files are told once, whatever their name does to a log.
    os.symlink("/etc/passwd", f"{d}/drop/inbox/x\nlevel=error.csv")
    w.hears(signal.SIGHUP, 'file="inbox/x\\x0Alevel=error.csv"')
    w.p.send_signal(signal.SIGHUP)
    time.sleep(0.3)
    with open(w.log, encoding="utf-8") as f:
        assert f.read().count("what=passed-over") == 1
    os.remove(f"{d}/drop/status.json")
    w.p.send_signal(signal.SIGUSR1)
    until("status.json", lambda: os.path.exists(f"{d}/drop/status.json"))
    with open(f"{d}/drop/status.json", encoding="utf-8") as f:
        status = json.load(f)
    assert (status["state"], status["failed"], status["process"]) == ("watching", 2, w.p.pid), status
    second(program, d)
    code, took = w.end()
    assert code == 0 and took < AT_ONCE, f"exit {code} after {took:.1f} s"
    with open(f"{d}/drop/status.json", encoding="utf-8") as f:
        assert json.load(f)["state"] == "stopped"


def wordings(program, folder):
    """Wordings of the desk hold for what comes after; a list that they make of a file in
    inbox/ stays out, and faulty ones do not take the place of good ones."""
    d = folder_of(folder, "words")
    w = Daemon(program, d, "--settle", "0")
    head = ("what", "match", "gives")
    drop(d, "desk", "w.csv", [("column", "Konto", "account"), ("column", "Zeit", "time"),
                              ("column", "Ereignis", "event"), ("event", "^Alarm$", "burglary-alarm"),
                              ("column", "Regel", "rule"), ("column", "Einstellung", "setting"),
                              ("column", "Wert", "value")], head)
    until("the wordings are taken", lambda: done(d, "w.csv.gz"))
    drop(d, "desk", "w.csv", [("event", "((", "burglary-alarm")], head)
    until("the faulty ones failed", lambda: glob.glob(f"{d}/drop/failed/w.csv.why.txt"))
    drop(d, "inbox", "w.csv", [("event", "^Alarm$", "fire-alarm")], head)
    until("those in inbox/ failed", lambda: glob.glob(f"{d}/drop/failed/w.2.csv.why.txt"))
    drop(d, "inbox", "list.csv", [("chatter", "bursts", "9")], ("Regel", "Einstellung", "Wert"))
    until("the list failed", lambda: glob.glob(f"{d}/drop/failed/list.csv.why.txt"))
    drop(d, "inbox", "a.csv", [("A1", "2026-10-01T08:00:00Z", "Alarm")], ("Konto", "Zeit", "Ereignis"))
    until("a.csv is done", lambda: done(d, "a.csv.gz"))
    assert [r["word"] for r in program.table(f"{d}/s.db", "events")] == ["burglary-alarm"]
    drop(d, "desk", "w.csv", [("column", "Konto", "account"), ("column", "Zeit", "time"),
                              ("column", "Ereignis", "event"), ("event", "^Alarm$", "fire-alarm")], head)
    until("the next ones are taken", lambda: done(d, "w.2.csv.gz"))
    drop(d, "inbox", "b.csv", [("A1", "2026-10-01T09:00:00Z", "Alarm")], ("Konto", "Zeit", "Ereignis"))
    until("b.csv is done", lambda: done(d, "b.csv.gz"))
    # What was read by the older ones means the same as what is read by the newer.
    assert [r["word"] for r in program.table(f"{d}/s.db", "events")] == ["fire-alarm"] * 2
    assert w.end()[0] == 0


def second(program, d):
    """Whoever comes second says so and leaves, and touches nothing."""
    os.makedirs(f"{d}/in")
    for words in (["watch", f"{d}/drop"], ["nightly", f"{d}/in", "--out", f"{d}/out"]):
        p = subprocess.run([program.path, *words, "--db", f"{d}/s.db"], env=program.env,
                           capture_output=True, check=False)
        assert p.returncode == 3 and b"watch, process" in p.stderr, p


def stop_in_the_middle(program, folder):
    """SIGTERM while a large file is read: within a second, and the file goes back."""
    d = folder_of(folder, "stop")
    os.makedirs(f"{d}/drop/inbox")
    write_csv(f"{d}/drop/inbox/big.csv", HEAD, [
        (f"A{i % 997}", f"2026-10-{1 + i // 100000:02d}T{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z",
         "zone-open", str(i % 31)) for i in range(1200000)])
    for batch in ("1000", "400000"):
        w = Daemon(program, d, "--settle", "0", "--batch", batch)
        until("it is claimed", lambda: os.path.exists(f"{d}/drop/{CLAIMED}/inbox/big.csv"))
        time.sleep(0.05)
        code, took = w.end()
        assert code == 0 and took < AT_ONCE, f"exit {code} after {took:.1f} s"
        assert os.path.exists(f"{d}/drop/inbox/big.csv"), glob.glob(f"{d}/drop/*/*")
        assert not program.table(f"{d}/s.db", "files"), "half a file is in the store"


def waiting_for_others(program, folder):
    """Somebody else writes into the store: the daemon waits, ends when it is told to, and goes
    on when the other is done."""
    d = folder_of(folder, "others")
    w = Daemon(program, d, "--settle", "0")
    other = sqlite3.connect(f"{d}/s.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    drop(d, "inbox", "a.csv", events(3))
    until("it is claimed", lambda: os.path.exists(f"{d}/drop/{CLAIMED}/inbox/a.csv"))
    time.sleep(0.3)
    code, took = w.end()
    assert code == 0 and took < AT_ONCE, f"exit {code} after {took:.1f} s"
    assert os.path.exists(f"{d}/drop/inbox/a.csv"), glob.glob(f"{d}/drop/*/*")
    w = Daemon(program, d, "--settle", "0")
    until("it is claimed again", lambda: os.path.exists(f"{d}/drop/{CLAIMED}/inbox/a.csv"))
    time.sleep(0.3)
    other.execute("ROLLBACK")
    other.close()
    until("a.csv is done", lambda: done(d, "a.csv.gz"))
    assert w.end()[0] == 0


def supervised(program, folder):
    """The messages of sd_notify(3): what a service manager hears, in order."""
    d = folder_of(folder, "sup")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as s:
        s.bind(f"{d}/notify")
        s.settimeout(PATIENCE)
        w = Daemon(program, d, env={"NOTIFY_SOCKET": f"{d}/notify", "WATCHDOG_USEC": "200000"})
        heard = []

        def hear(want):
            while not any(want in h for h in heard):
                heard.append(s.recv(4096).decode())
        hear("READY=1")
        hear("WATCHDOG=1")
        heard.clear()
        w.p.send_signal(signal.SIGHUP)
        hear("RELOADING=1\nMONOTONIC_USEC=")
        hear("READY=1")
        w.p.send_signal(signal.SIGTERM)
        hear("STOPPING=1")
        assert w.p.wait(timeout=PATIENCE) == 0


def night(program, folder):
    """The night is told when its time has passed, once, with what failed."""
    d = folder_of(folder, "night")
    os.makedirs(f"{d}/none")
    program.run(f"{d}/s.db", "nightly", f"{d}/none", "--out", f"{d}/out", "--now", "2020-01-01T00:00")
    os.makedirs(f"{d}/drop/inbox")
    write_csv(f"{d}/drop/inbox/bad.csv", ("name", "colour"), [("a", "red")])
    os.remove(f"{d}/out/digest.txt")
    w = Daemon(program, d, "--settle", "0", "--nightly", "00:00", "--out", f"{d}/out")
    until("the night", lambda: w.said("what=night"))
    with open(f"{d}/out/digest.txt", encoding="utf-8") as f:
        digest = f.read()
    assert digest.startswith("NO NEW DATA since ever") and "failed/bad.csv" not in digest.split("\n")[0]
    assert "FILES THAT FAILED" in digest and "inbox/bad.csv" in digest, digest
    w.hears(signal.SIGHUP, "what=reload")
    time.sleep(0.3)
    with open(w.log, encoding="utf-8") as f:
        assert f.read().count("what=night ") == 1
    assert w.end()[0] == 0


def stop_in_the_night(program, folder):
    """Thousands of pages: the daemon tells how far it is, ends when it is told to, leaves the pages of
    before, and tells the night the next time."""
    d = folder_of(folder, "pages")
    os.makedirs(f"{d}/none")
    program.run(f"{d}/s.db", "nightly", f"{d}/none", "--out", f"{d}/out", "--now", "2020-01-01T00:00")
    write_csv(f"{d}/a.csv", HEAD, [(f"A{i}", "2026-10-01T08:00:00Z", "fire-alarm", "1") for i in range(4000)])
    subprocess.run([program.path, "ingest", f"{d}/a.csv", "--db", f"{d}/s.db"], env=program.env, check=True,
                   capture_output=True)

    def doing():
        with open(f"{d}/s.db.lock", encoding="utf-8") as f:
            return "pages of sites" in f.read()
    words = ["--settle", "0", "--nightly", "00:00", "--out", f"{d}/out"]
    w = Daemon(program, d, *words)
    until("pages are written", doing)
    code, took = w.end()
    assert code == 0 and took < AT_ONCE, f"exit {code} after {took:.1f} s"
    assert not w.said("level=error") and not w.said("what=night "), open(w.log, encoding="utf-8").read()
    assert not glob.glob(f"{d}/out/site/*"), "half a night lies there"
    w = Daemon(program, d, *words)
    until("the night", lambda: w.said("what=night "))
    assert len(glob.glob(f"{d}/out/site/*.html")) == 4000 and not glob.glob(f"{d}/out/site/*.part")
    assert w.end()[0] == 0


def board(program, folder):
    """What comes in by day stands on the board at once; what is new since the night stays so."""
    d = folder_of(folder, "board")
    os.makedirs(f"{d}/in")
    write_csv(f"{d}/in/a.csv", HEAD, [("A1", "2026-10-01T08:00:00Z", "fire-alarm", "1")])
    program.run(f"{d}/s.db", "nightly", f"{d}/in", "--out", f"{d}/out", "--now", "2026-10-01T00:00")
    os.makedirs(f"{d}/drop/inbox")
    os.makedirs(f"{d}/drop/desk")
    drop(d, "inbox", "b.csv", [("B2", "2026-10-01T08:00:00Z", "fire-alarm", "1")])
    w = Daemon(program, d, "--settle", "0", "--nightly", "00:00", "--out", f"{d}/out")

    def page():
        with open(f"{d}/out/board.html", encoding="utf-8") as f:
            return f.read()

    def row(account):
        (found,) = [r for r in page().split("<tr ") if f">{account}</" in r]
        return found
    until("the night", lambda: w.said("what=night") and ">B2</" in page())
    (id_,) = [row["id"] for row in json.loads(program.run(f"{d}/s.db", "triage", "--format", "json"))["findings"]
              if row["account"] == "B2"]
    drop(d, "desk", "d.csv", [(id_, "seen", "R. <Moser>", "")], ("finding", "decision", "who", "until"))
    until("the decision is on the board", lambda: "seen by R. &lt;Moser&gt;" in page())
    drop(d, "inbox", "bad.csv", [("a", "red")], ("name", "colour"))
    until("what failed is on the board", lambda: "failed/bad.csv" in page() or "bad.csv: " in page())
    assert 'data-decided="yes"' in row("B2") and 'data-state="new"' in row("B2"), row("B2")
    assert 'data-decided="no"' in row("A1") and 'data-state="continuing"' in row("A1"), row("A1")
    assert w.end()[0] == 0


def groups(program, folder):
    """Folders in inbox/ name the group of the accounts, unless sites does."""
    d = folder_of(folder, "groups")
    w = Daemon(program, d, "--settle", "1", "--groups")
    drop(d, "desk", "sites.csv", [("A2", "UTC", "SOUTH")], ("account", "timezone", "group"))
    until("sites.csv is done", lambda: done(d, "sites.csv.gz"))
    fire = lambda a, n: [(a, f"2026-10-01T08:{i:02d}:00Z", "fire-alarm", "1") for i in range(n)]
    os.mkdir(f"{d}/drop/inbox/North 1")
    drop(d, "inbox/North 1", "a.csv", fire("A1", 2) + fire("A2", 2))
    drop(d, "inbox", "b.csv", fire("A3", 1))
    until("both are done", lambda: done(d, "North 1.a.csv.gz") and done(d, "b.csv.gz"))
    def of(group):  # 2: nobody is of it
        text = program.run(f"{d}/s.db", "triage", "--format", "json", "--group", group, ok=(0, 2))
        return sorted(f["account"] for f in json.loads(text or '{"findings":[]}')["findings"])

    until("they are judged", lambda: of("north 1") == ["A1"] and of("SOUTH") == ["A2"])
    # It moves to another group with its next export, also where no row of that is new.
    os.mkdir(f"{d}/drop/inbox/West")
    drop(d, "inbox/West", "again.csv", fire("A1", 2))
    until("it is of the other group", lambda: of("west") == ["A1"] and of("north 1") == [])
    drop(d, "inbox/West", "set.csv", [("chatter", "bursts", "9")], ("rule", "setting", "value"))
    until("a list there failed", lambda: glob.glob(f"{d}/drop/failed/West.set.csv.why.txt"))
    assert w.end()[0] == 0
    # Not asked for: a folder is passed over.
    w = Daemon(program, d, "--settle", "0")
    until("it is told", lambda: w.said('file="inbox/North 1" why="a folder"'))
    assert w.end()[0] == 0


def at_work(program, folder):
    """What `status` says while something is done: no alarm for work that a living daemon will do."""
    d = folder_of(folder, "work")
    write_csv(f"{d}/a.csv", HEAD, events(3))
    subprocess.run([program.path, "ingest", f"{d}/a.csv", "--db", f"{d}/s.db"], env=program.env, check=True,
                   capture_output=True)
    with contextlib.closing(sqlite3.connect(f"{d}/s.db", isolation_level=None)) as c:
        c.execute("INSERT INTO due SELECT id FROM account")

    def status():
        p = subprocess.run([program.path, "status", "--db", f"{d}/s.db", "--format", "json"], env=program.env,
                           capture_output=True, check=False)
        said = json.loads(p.stdout)
        assert p.returncode == (1 if said["attention"] else 0), p
        return said["due"], said["daemon"], said["at_work"], len(said["attention"])
    assert status() == (1, None, None, 1)
    with open(f"{d}/s.db.lock", "w", encoding="utf-8") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        lock.write("watch, process 7\ninbox/b.csv, 34 %")
        lock.flush()
        assert status() == (1, "watch, process 7", "inbox/b.csv, 34 %", 0)
        long_ago = time.time() - 6 * 60
        os.utime(f"{d}/s.db.lock", (long_ago, long_ago))
        assert status() == (1, "watch, process 7", "inbox/b.csv, 34 %", 1)
    assert status() == (1, None, None, 1)


def looking_only(program, folder):
    """Where the system tells of nothing, as on a network share."""
    deaf = ["unshare", "-Ur", "sh", "-c", 'echo 0 > /proc/sys/user/max_inotify_instances && exec "$@"', "sh"]
    if subprocess.run([*deaf, "true"], check=False, capture_output=True).returncode:
        print("looking only: not tried, no user namespaces here")
        return
    d = folder_of(folder, "deaf")
    w = Daemon(program, d, "--settle", "1", "--look", "1", "--groups", before=deaf)
    assert w.said('notifications="no: looking only"')
    drop(d, "inbox", "a.csv", events(3))
    os.mkdir(f"{d}/drop/inbox/G")
    drop(d, "inbox/G", "b.csv", events(4))
    until("a.csv is done", lambda: done(d, "a.csv.gz") and done(d, "G.b.csv.gz"))
    assert w.end()[0] == 0


def main(program, folder, _seed):
    ordinary_day(program, folder)
    wordings(program, folder)
    stop_in_the_middle(program, folder)
    waiting_for_others(program, folder)
    supervised(program, folder)
    night(program, folder)
    stop_in_the_night(program, folder)
    board(program, folder)
    groups(program, folder)
    at_work(program, folder)
    looking_only(program, folder)


cases(main)
