"""A small load: a few accounts, three exports that overlap, lists, and two files that cannot
be taken. Small, so that hundreds of runs over it take a minute."""
import gzip
import os
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from program import write_csv

HEAD = ("account", "time", "event", "zone", "serial")


def rows(accounts=4):
    out = []
    for a in range(accounts):
        for day in range(1, 7):
            t = f"2026-10-{day:02d}T"
            out.append((f"20{a}1", f"{t}06:00:00Z", "check-in", "2", f"77110{a}"))
            for burst in range(4):
                out.append((f"20{a}1", f"{t}08:{10 + a}:{burst * 10:02d}Z", "zone-open", "1", f"55220{a}"))
                out.append((f"20{a}1", f"{t}08:{10 + a}:{burst * 10 + 3:02d}Z", "zone-close", "1", f"55220{a}"))
        out.append((f"20{a}1", f"2026-10-05T09:{a:02d}:00Z", "low-battery", "2", f"77110{a}"))
    out.append(("2001", "2026-10-06T03:00:00Z", "fire-alarm", "3", "881100"))
    return sorted(out, key=lambda r: r[1])


def lists(folder):
    write_csv(f"{folder}/sites.csv", ("account", "timezone", "name"),
              [(f"20{a}1", "UTC", f"house {a}") for a in range(4)])
    write_csv(f"{folder}/roster.csv", ("account", "zone", "serial", "device"),
              [(f"20{a}1", "2", f"77110{a}", "motion") for a in range(4)] + [("2001", "3", "881100", "smoke")])
    write_csv(f"{folder}/settings.csv", ("rule", "setting", "value"), [("chatter", "bursts", "3")])
    for n, name in enumerate(("sites", "roster", "settings")):
        os.utime(f"{folder}/{name}.csv", (1000000 + n, 1000000 + n))


def exports(folder):
    """Neighbours overlap, as exports do; the last is compressed already."""
    all_rows = rows()
    third = len(all_rows) // 3 + 1
    for n in range(3):
        path = write_csv(f"{folder}/events-{n}.csv", HEAD, all_rows[max(0, n * third - 10):(n + 1) * third])
        os.utime(path, (2000000 + n, 2000000 + n))
    with open(f"{folder}/events-2.csv", "rb") as f, gzip.GzipFile(f"{folder}/events-2.csv.gz", "wb", mtime=0) as g:
        g.write(f.read())
    os.remove(f"{folder}/events-2.csv")


def dropped(drop):
    """inbox/ and desk/ as they are filled."""
    for tray in ("inbox", "desk"):
        os.makedirs(f"{drop}/{tray}")
    exports(f"{drop}/inbox")
    lists(f"{drop}/desk")
    write_csv(f"{drop}/inbox/misplaced.csv", ("account", "serial", "visit"), [("2001", "5", "2026-10-01")])
    write_csv(f"{drop}/desk/other.csv", ("name", "colour"), [("a", "red")])


def old_rows():
    """The same five years before, and rows that are set aside: so large that what they leave
    is given back to the disk."""
    return [(a, t.replace("2026", "2021"), *rest) for a, t, *rest in rows()] + [
        ("2001", "2021-02-31T00:00:00Z", "test", "x" * 40000, str(n)) for n in range(12)]
