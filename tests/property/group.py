#!/usr/bin/env python3
"""Group: who may do what with a store that was opened to one group, while the daemon runs.
Needs to be root, to run as several other users; else it says so and leaves."""
import csv
import glob
import json
import os
import shutil
import signal
import stat
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, ".."))
from program import cases, write_csv

DAEMON, READER, STRANGER, STAFF = 61001, 61002, 61003, 61500
PATIENCE = 60  # seconds


def until(what, true):
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if true():
            return
        time.sleep(0.02)
    raise AssertionError(f"did not happen: {what}")


def mode(path):
    s = os.lstat(path)
    return s.st_gid, stat.S_IMODE(s.st_mode)


class People:
    """Runs the program as one of them."""

    def __init__(self, program, d):
        self.d, self.db, self.env = d, f"{d}/srv/s.db", program.env
        self.path = shutil.copy(program.path, f"{d}/tripsift")
        os.chmod(self.path, 0o755)

    def start(self, uid, groups, *words, **more):
        return subprocess.Popen([self.path, *words, "--db", self.db], env=self.env, user=uid, group=uid,
                                extra_groups=groups, cwd="/", stdin=subprocess.DEVNULL, **more)

    def run(self, uid, groups, *words, ok=(0,)):
        p = self.start(uid, groups, *words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        out, err = p.communicate(timeout=PATIENCE)
        assert p.returncode in ok, f"{uid}: {words}: exit {p.returncode}\n{out.decode()}{err.decode()}"
        return (out + err).decode()

    def decisions(self):
        text = self.run(DAEMON, [STAFF], "export", "decisions")
        return list(csv.DictReader(text.splitlines()))


def drop(d, tray, name, head, rows, uid):
    path = f"{d}/srv/{tray}/{name}"
    write_csv(path + ".part", head, rows)
    os.chown(path + ".part", uid, -1)
    os.chmod(path + ".part", 0o640)
    os.rename(path + ".part", path)


def alarms(n):
    return [("A1", f"2026-10-01T08:{i:02d}:00Z", "fire-alarm", "1") for i in range(n)]


def main(program, folder, seed):
    if os.geteuid() != 0:
        print("not tried: only root may run it as other users")
        return
    os.chmod(folder, 0o711)
    d = folder
    people = People(program, d)
    os.makedirs(f"{d}/srv")
    os.chown(f"{d}/srv", DAEMON, DAEMON)
    # Who is no member cannot open it to that group; a group that does not exist neither.
    assert "no member" in people.run(DAEMON, [], "watch", f"{d}/srv", "--group", str(STAFF), ok=(2,))
    assert "no group" in people.run(DAEMON, [STAFF], "watch", f"{d}/srv", "--group", "n o", ok=(2,))
    # A folder that is not ours alone is never opened unasked.
    os.makedirs(f"{d}/other")
    os.chown(f"{d}/other", DAEMON, DAEMON)
    os.chmod(f"{d}/other", 0o700)
    write_csv(f"{d}/a.csv", ("account", "time", "event", "zone"), alarms(1))
    os.chmod(f"{d}/a.csv", 0o644)
    srv, people.db = people.db, f"{d}/other/s.db"
    told = people.run(DAEMON, [STAFF], "ingest", f"{d}/a.csv", "--group", str(STAFF), ok=(2,))
    assert "chmod g+rwxs" in " ".join(told.split()), told
    assert mode(f"{d}/other") == (DAEMON, 0o700)
    os.chown(f"{d}/other", -1, STAFF)
    os.chmod(f"{d}/other", 0o2770)
    people.run(DAEMON, [STAFF], "ingest", f"{d}/a.csv", "--group", str(STAFF))
    assert mode(people.db) == (STAFF, 0o660)
    people.run(READER, [STAFF], "triage")
    people.run(STRANGER, [], "triage", ok=(3,))
    # The night run by cron: what it writes, and the folder that it makes.
    os.makedirs(f"{d}/exports")
    people.run(DAEMON, [STAFF], "nightly", f"{d}/exports", "--out", f"{d}/other/out", "--group", str(STAFF),
               ok=(0, 1))
    assert mode(f"{d}/other/out") == (STAFF, 0o2770)
    for name in ("digest.txt", "findings.csv", "findings.json", "set-aside.csv", "board.html"):
        assert mode(f"{d}/other/out/{name}") == (STAFF, 0o640), name
    # Without the option nobody else reads, also in a folder that is the group's.
    people.run(DAEMON, [STAFF], "nightly", f"{d}/exports", "--out", f"{d}/other/own", ok=(0, 1))
    assert mode(f"{d}/other/own")[1] & 0o777 == 0o700
    assert mode(f"{d}/other/own/digest.txt")[1] == 0o600
    people.db = srv

    log = open(f"{d}/log", "ab")
    words = ("watch", f"{d}/srv", "--settle", "0", "--look", "1", "--group", str(STAFF),
             "--nightly", "00:00", "--out", f"{d}/srv/pages")
    w = people.start(DAEMON, [STAFF], *words, stderr=log)
    until("it starts", lambda: "what=start" in open(f"{d}/log").read() or w.poll() is not None)
    drop(d, "inbox", "a.csv", ("account", "time", "event", "zone"), alarms(3), READER)
    until("a.csv is done", lambda: glob.glob(f"{d}/srv/done/*/a.csv.gz"))
    drop(d, "inbox", "bad.csv", ("nothing",), [], READER)
    until("bad.csv failed", lambda: os.path.exists(f"{d}/srv/failed/bad.csv.why.txt"))
    for path, want in (("", 0o2770), ("/inbox", 0o2770), ("/desk", 0o2770), ("/failed", 0o2770),
                       ("/pages", 0o2770), ("/s.db", 0o660), ("/s.db-wal", 0o660), ("/s.db-shm", 0o660),
                       ("/s.db.lock", 0o660), ("/status.json", 0o640), ("/failed/bad.csv.why.txt", 0o640)):
        assert mode(f"{d}/srv{path}") == (STAFF, want), (path, mode(f"{d}/srv{path}"))
    assert mode(glob.glob(f"{d}/srv/done/*/a.csv.gz")[0]) == (STAFF, 0o640)
    assert mode(f"{d}/srv/work")[1] & 0o777 == 0o700
    # A member reads and decides; a stranger sees nothing.
    until("there is a finding", lambda: "life-alarm" in people.run(READER, [STAFF], "triage"))
    people.run(READER, [STAFF], "site", "A1")
    found = json.loads(people.run(READER, [STAFF], "triage", "--format", "json"))["findings"][0]["id"]
    decide = ("decide", found, "--as", "planned", "--who", "R. Moser", "--until", "2099-01-01T00:00:00Z",
              "--why", "=cmd, \"x\"")
    people.run(READER, [STAFF], *decide)
    told = people.run(STRANGER, [], "triage", ok=(3,))
    assert "may not enter" in " ".join(told.split()), told
    people.run(STRANGER, [], *decide, ok=(3,))
    assert len(people.decisions()) == 1
    status = json.loads(people.run(READER, [STAFF], "status", "--format", "json", ok=(0, 1)))
    assert status["daemon"] == f"watch, process {w.pid}" and status["failed"] == 1, status
    assert status["folder"] == f"{d}/srv" and status["waiting"] == 0 and status["sign_of_life"], status
    assert any("failed" in x for x in status["attention"]), status
    # Somebody whom the administrator lets read, and drop at the desk, but not write to the store.
    os.chmod(f"{d}/srv", 0o2775)
    os.chmod(f"{d}/srv/desk", 0o2777)
    for part in ("", "-wal", "-shm", ".lock"):
        os.chmod(f"{d}/srv/s.db{part}", 0o664)
    told = people.run(STRANGER, [], *decide)
    assert "left at the desk" in " ".join(told.split()), told
    until("the desk is empty", lambda: not os.listdir(f"{d}/srv/desk"))
    until("it is done", lambda: glob.glob(f"{d}/srv/done/*/decision-*.csv.gz"))
    assert len(people.decisions()) == 1, "the same decision twice is one"
    people.run(STRANGER, [], "decide", found, "nosuch", "--as", "seen", "--who", "S. Reber", ok=(2,))
    until("the other one is recorded", lambda: len(people.decisions()) == 2)
    rows = people.decisions()
    assert rows[0]["why"].endswith("=cmd, \"x\""), rows
    assert {r["who"] for r in rows} == {"R. Moser", "S. Reber"}, rows
    people.run(STRANGER, [], "decide", "nosuch", "--as", "seen", "--who", "S. Reber", ok=(2,))
    assert not os.listdir(f"{d}/srv/desk"), "a file without a row"
    # Stopped; the members still read, and the next start takes what lies at the desk.
    w.send_signal(signal.SIGTERM)
    assert w.wait(timeout=PATIENCE) == 0
    people.run(READER, [STAFF], "triage")
    status = json.loads(people.run(READER, [STAFF], "status", "--format", "json", ok=(1,)))
    assert any("no daemon runs" in x for x in status["attention"]), status
    w = people.start(DAEMON, [STAFF], *words, stderr=log)
    drop(d, "inbox", "b.csv", ("account", "time", "event", "zone"), alarms(5), READER)
    until("b.csv is done", lambda: glob.glob(f"{d}/srv/done/*/b.csv.gz"))
    assert mode(f"{d}/srv/s.db-wal") == (STAFF, 0o660)
    w.send_signal(signal.SIGTERM)
    assert w.wait(timeout=PATIENCE) == 0


cases(main)
