"""What must hold of a store and its folders, however often the work on them was cut short."""
import contextlib
import csv
import glob
import gzip
import json
import os
import sqlite3

from program import judged

OUTPUTS = ["digest.txt", "findings.csv", "findings.json", "set-aside.csv"]


def content(path):
    with (gzip.open if path.endswith(".gz") else open)(path, "rb") as f:
        return f.read()


def sound(path):
    """Is it a store that is not damaged?"""
    c = sqlite3.connect(path)
    try:
        fault = c.execute("PRAGMA quick_check").fetchone()[0]
    finally:
        c.close()
    assert fault == "ok", f"{path} is damaged: {fault}"


def store(program, db, night=True):
    """(log, open findings, cleared findings, what was told) of a store where all is done."""
    drop = ("from_file", "from_line")
    sound(db)
    log = [tuple((k, v) for k, v in sorted(row.items()) if k not in drop)
           for row in program.table(db, "events")]
    with contextlib.closing(sqlite3.connect(db)) as c:
        for name, rows, total in c.execute("SELECT name, rows, stored + repeated + set_aside + expired FROM file"):
            assert rows == total, f"{name}: {rows} rows, {total} accounted for"
        told = sorted(c.execute("SELECT level, count, cleared FROM told"))
        nights = c.execute("SELECT count(*) FROM night").fetchone()[0]
        due = c.execute("SELECT count(*) FROM due").fetchone()[0]
    assert due == 0, f"{due} accounts were never judged"
    assert not night or nights >= 2, "the night was never told"
    return log, *judged(program, db), told


def folders(drop):
    """The contents of what lies in done/ and in failed/; nothing may lie elsewhere."""
    left = [p for t in ("inbox", "desk", "work/inbox", "work/desk") for p in glob.glob(f"{drop}/{t}/*")]
    assert not left, f"left behind: {left}"
    half = glob.glob(f"{drop}/*/.*") + glob.glob(f"{drop}/done/*/.*")
    assert not [h for h in half if not h.endswith("/.taking.part")], f"half written: {half}"
    done = sorted(content(p) for p in glob.glob(f"{drop}/done/*/*"))
    failed = sorted(content(p) for p in glob.glob(f"{drop}/failed/*")
                    if not p.endswith((".why.txt", ".part")))
    notes = glob.glob(f"{drop}/failed/*.why.txt")
    assert len(notes) == len(failed), f"{len(notes)} notes for {len(failed)} failed files"
    for note in notes:
        assert b"nothing of it is in the store" in content(note), f"{note} is not whole"
    return done, failed


def backups(folder):
    """What stands under a backup's name is whole; one that was cut short has none."""
    made = glob.glob(f"{folder}/*.db.????-??-??")
    for path in made:
        sound(path)
    return len(made)


def night(out):
    """What a night wrote: the lists, and whatever pages there are."""
    lists = sorted(n for n in os.listdir(out) if not n.endswith(".html"))
    assert lists == [*OUTPUTS, "site"], lists
    half = [n for n in os.listdir(f"{out}/site") if not n.endswith(".html")]
    assert not half, f"half written: {half}"
    for page in glob.glob(f"{out}/*.html") + glob.glob(f"{out}/site/*.html"):
        assert content(page).rstrip().endswith(b"</html>"), f"{page} is not whole"
    with open(f"{out}/digest.txt", encoding="utf-8") as f:
        assert f.read().rstrip().endswith("any standard."), "the digest is not whole"
    with open(f"{out}/findings.json", encoding="utf-8") as f:
        found = json.load(f)["findings"]
    with open(f"{out}/findings.csv", encoding="utf-8", newline="") as f:
        assert len(list(csv.DictReader(f))) == len(found), "findings.csv and findings.json differ"
