#!/usr/bin/env python3
"""What must not matter to any finding: the year, the names of accounts, the order of rows
whose times stand by themselves, and who else is in the store.

The simulated town is read as it is and changed in one such way; what is found, put back
into the words of the first, must be the same.
"""
import csv
import json
import os
import random
import re
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
from program import cases, same, write_csv
from town import COLUMNS, Town

LISTS = ("sites", "roster", "roster-later", "plan", "service")
ACCOUNT, TIME, RECEIVED = (COLUMNS.index(c) for c in ("account", "time", "received"))
# Their chance is reckoned over all accounts, so others in the store may change it.
OF_THE_FLEET = ("battery-cluster", "power-loss")


def exact(cell):
    """A time of a site whose clock is UTC, with the offset said."""
    return cell if not cell or re.search(r"(Z|[+-]\d\d:?\d\d)$", cell) else cell + "Z"


class Export:
    """A town on UTC, as tables that can be changed before they are written."""

    def __init__(self, folder, seed, more=False):
        town = Town(seed, 96 if more else 54, 46, more)
        for a in town.accounts:
            a.timezone = "UTC"
        town.write_lists(folder)
        self.lists = {}
        for name in LISTS:
            with open(f"{folder}/{name}.csv", newline="", encoding="utf-8") as f:
                self.lists[name] = list(csv.reader(f))
        rows = sorted(town.rows(False) + town.rows(True), key=lambda r: r[0])
        self.rows = [list(row) for _, row in rows]
        for row in self.rows:
            row[TIME], row[RECEIVED] = exact(row[TIME]), exact(row[RECEIVED])

    def each(self, change):
        """change(column, cell) over every cell of every table."""
        self.rows = [[change(c, x) for c, x in zip(COLUMNS, row)] for row in self.rows]
        for name, (head, *rows) in self.lists.items():
            self.lists[name] = [head] + [[change(c, x) for c, x in zip(head, row)] for row in rows]

    def read(self, program, folder, *others):
        db = f"{folder}/s.db"
        for n, x in enumerate((self, *others)):
            for name in LISTS:
                path = write_csv(f"{folder}/{n}-{name}.csv", x.lists[name][0], x.lists[name][1:])
                program.ingest(db, path)
        for n, x in enumerate((self, *others)):
            told, = program.ingest(db, write_csv(f"{folder}/{n}-rows.csv", COLUMNS, x.rows))
            assert told["set_aside"] == 0, told
        found = program.findings(db)
        os.remove(db)
        assert len(found) > 20, "too little is found for this to say anything"
        return found


def texts(found, back=lambda text: text, skip=()):
    """Findings without what may differ: the id, and where rows lie."""
    out = []
    for f in found:
        if f["rule"] in skip:
            continue
        f = {k: v for k, v in f.items() if k != "id"}
        f["evidence"] = sorted((e["time"], e["event"]) for e in f["evidence"])
        f["members"] = len(f["members"])
        out.append(back(json.dumps(f, sort_keys=True)))
    return out


def years(export, by):
    export.each(lambda _, x: re.sub(r"(?<!\d)(20[2-9]\d)(?=-\d\d-\d\d)", lambda m: str(int(m[1]) + by), x))


def main(program, folder, seed):
    for more in (False, True):
        tables = lambda: Export(folder, seed + 1, more)
        want = texts(tables().read(program, folder))

        for by in (28, 56):	# the weekdays are the same then, which chatter names
            x = tables()
            years(x, by)
            back = lambda text: re.sub(r"20[2-9]\d(?=-\d\d-\d\d)", lambda m: str(int(m[0]) - by), text)
            same("findings", f"{by} years later", want, texts(x.read(program, folder), back))

        x = tables()
        numbers = sorted({row[ACCOUNT] for row in x.rows} | {r[0] for r in x.lists["sites"][1:]})
        name = {n: f"Q{i:04}Z" for i, n in enumerate(numbers)}
        number = {v: k for k, v in name.items()}
        x.each(lambda c, v: name.get(v, v) if c in ("account", "was") else v)
        back = lambda text: re.sub(r"Q\d{4}Z", lambda m: number[m[0]], text)
        same("findings", "other names", want, texts(x.read(program, folder), back))

        # Rows of one account and second keep their order: nothing else tells it.
        x = tables()
        order = {}
        rng = random.Random(f"invariant/{seed}")
        x.rows.sort(key=lambda r: order.setdefault((r[ACCOUNT], r[TIME][:19].replace("T", " ")), rng.random()))
        same("findings", "rows shuffled", want, texts(x.read(program, folder)))

        x, y = tables(), Export(folder, seed + 50)
        mine = {f'"account": "{n}"' for n in numbers}
        y.each(lambda c, v: "Y" + v if c in ("account", "was") and v else "Y " + v if c == "group" else v)
        have = [t for t in texts(x.read(program, folder, y), skip=OF_THE_FLEET)
                if any(m in t for m in mine)]
        same("findings", "others in the store",
             [t for t in want if json.loads(t)["rule"] not in OF_THE_FLEET and any(m in t for m in mine)],
             have)


cases(main)
