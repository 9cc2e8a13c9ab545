#!/usr/bin/env python3
"""Repeats: an event counts as often as the file that has it most often.

Random small exports with many equal rows, spread over several files, permuted and
spelled in differing ways. What must be stored is counted here independently, from
the rows alone, and compared at several batch sizes.
"""
import collections
import os
import random
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from program import cases, write_csv

TRIALS = 8
COLUMNS = ("account", "time", "event", "zone", "partition", "serial", "user", "text", "received",
           "signal", "receiver")


def pool(rng):
    """Distinct events, few enough that equal rows are the rule."""
    out = set()
    while len(out) < 10:
        out.add((rng.choice(("ab1", "07", "7")), f"2026-10-0{rng.randrange(1, 4)}",
                 f"08:15:0{rng.randrange(3)}", rng.choice(("", "+02:00", "+00:00")),
                 rng.choice(("zone-open", "zone-close", "E130")), rng.choice(("5", "6", "")),
                 rng.choice(("", "1")), rng.choice(("", "4A0071")), rng.choice(("", "3")),
                 rng.choice(("", "a, \"b\"")), rng.choice(("", "", "R2"))))
    return sorted(out)


def spelled(rng, event):
    """One way to write that event down."""
    account, date, clock, offset, word, zone, partition, serial, user, text, receiver = event
    case = rng.choice((str.lower, str.upper))
    zeros = lambda n: rng.choice(("", "0", "00")) + n if n else ""
    if serial:
        serial = rng.choice((serial, "4a0071", "4A-00:71", "4A 00.71"))
    received = rng.choice(("", "", f"{date}T{clock}Z"))
    signal = rng.choice(("", "", "-70 dBm"))
    return (case(account), date + rng.choice("T ") + clock + offset, word, zeros(zone),
            zeros(partition), serial, zeros(user), text, received, signal, receiver)


def number(text):
    return text.lstrip("0")


def known(row):
    """The key under which the program must have stored a row of its export."""
    date, clock = row["time"][:10], row["time"][11:19]
    serial = "".join(c for c in row["serial"].upper() if c.isalnum())
    return (row["account"].lower(), date, clock, row["time"][19:].replace("Z", "+00:00"), row["event"],
            number(row["zone"]), number(row["partition"]), serial, number(row["user"]), row["text"],
            row["receiver"])


def one(program, folder, rng, trial):
    events = pool(rng)
    files = []
    for n in range(rng.randrange(2, 5)):
        rows = [e for e in events for _ in range(rng.choice((0, 0, 1, 1, 2, 3)))] or [events[0]]
        rng.shuffle(rows)
        files.append([(e, spelled(rng, e)) for e in rows])
        write_csv(f"{folder}/{trial}-{n}.csv", COLUMNS, [r for _, r in files[-1]])
    want = collections.Counter()
    for rows in files:
        for event, n in collections.Counter(e for e, _ in rows).items():
            want[event] = max(want[event], n)
    order = list(range(len(files)))
    rng.shuffle(order)
    paths = [f"{folder}/{trial}-{n}.csv" for n in order]
    for batch in (1, 2, 3, 1000):
        db = f"{folder}/{trial}-{batch}.db"
        where = f"trial {trial}, files read in order {order}, --batch {batch}"
        stored = 0
        for n, path in zip(order, paths):
            told, = program.ingest(db, path, batch=batch)
            assert told["rows"] == len(files[n]), f"{where}: rows {told['rows']} of {len(files[n])}"
            assert told["rows"] == told["stored"] + told["repeated"] + told["set_aside"], \
                f"{where}: rows do not add up: {told}"
            assert told["set_aside"] == 0, f"{where}: set aside: {told['reasons']}"
            stored += told["stored"]
        table = program.table(db, "events")
        have = collections.Counter(known(r) for r in table)
        assert have == want, (f"{where}: too many {have - want}, too few {want - have}")
        assert stored == sum(want.values()), f"{where}: stored {stored} of {sum(want.values())}"
        filled(where, want, files, order, table)
        for path in paths:
            told, = program.ingest(db, path, batch=batch)
            assert told["stored"] == 0, f"{where}: {told['stored']} rows stored when read again"
        assert program.table(db, "events") == table, f"{where}: reading again changed the events"


def filled(where, want, files, order, table):
    """An event that no file has twice has the first `received` and `signal` that any file gave."""
    rows = {known(r): r for r in table}
    for event in (e for e, n in want.items() if n == 1):
        for column, place in (("received", 8), ("signal", 9)):
            given = [r[place] for n in order for e, r in files[n] if e == event and r[place]]
            kept = rows[event][column]
            assert bool(kept) == bool(given), f"{where}: {column} of {event} is {kept!r}, given {given}"


def main(program, folder, seed):
    rng = random.Random(f"repeats/{seed}")
    for trial in range(TRIALS):
        one(program, folder, rng, trial)


cases(main)
