#!/usr/bin/env python3
"""DC-09: a receiver's log says what the same events say as a CSV.

Random frames are written here from the layout alone, with a CRC reckoned another way than
the program does (long division of the whole message, not byte by byte). Some are damaged: they
are set aside, each with what is wrong with it, and nothing of them is stored.
"""
import collections
import os
import random
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from program import cases, write_csv

TRIALS = 6
COLUMNS = ("account", "time", "event", "zone", "partition", "user", "text", "received", "receiver", "line")


def crc(message):
    """CRC-16/ARC as a remainder: bits reflected, polynomial x^16 + x^15 + x^2 + 1."""
    bits = [b >> i & 1 for b in message for i in range(8)] + [0] * 16
    for i in range(len(bits) - 16):
        if bits[i]:
            for k in (0, 1, 14, 16):
                bits[i + k] ^= 1
    return sum(bit << i for i, bit in enumerate(bits[-16:]))


def event(rng, i):
    """One event as a dict of our columns, and the frame's body that says it."""
    account = "".join(rng.choice("0123456789ABCDEF") for _ in range(rng.randrange(3, 17)))
    receiver, line = rng.choice(("", "7", "A1F")), rng.choice(("", "2", "000B"))
    day, clock = 1 + i % 28, f"{i % 24:02d}:{rng.randrange(60):02d}:{rng.randrange(60):02d}"
    row = dict.fromkeys(COLUMNS, "")
    row.update(account=account, receiver=receiver, line=line)
    inside = rng.choice((f"#{account}|", f"{account}|", "|", ""))
    if rng.random() < 0.5:
        row.update(event=rng.choice("136") + rng.choice(("130", "111", "401", "384", "602", "627", "750")),
                   partition=f"{rng.randrange(100):02d}", zone=f"{rng.randrange(1000):03d}")
        kind, data = "ADM-CID", f"{row['event']} {row['partition']} {row['zone']}"
    else:
        row.update(event=rng.choice(("BA", "FA", "OP", "CL", "RP", "XT", "QQ")), zone=rng.choice(("", "1", "0012")))
        front = ""
        if rng.random() < 0.5:
            row["partition"] = str(rng.randrange(30))
            front = f"ri{row['partition']}/"
        if rng.random() < 0.2:
            row["user"] = str(rng.randrange(90))
            front += f"id{row['user']}/"
        row["text"] = rng.choice(("", "", "Küche", "hall [east]", "a; b"))
        kind, data = "SIA-DCS", f"N{front}{row['event']}{row['zone']}" + (f"^{row['text']}^" if row["text"] else "")
    body = f'"{kind}"{rng.randrange(1, 10000):04d}' + (f"R{receiver or '0'}" if receiver or rng.random() < 0.5 else "") + \
        f"L{line or '0'}#{account}[{inside}{data}]" + rng.choice(("", "[M001122AABBCC]"))
    own = rng.random() < 0.8
    if own:
        row["time"] = f"2026-10-{day:02d}T{clock}Z"
        body += f"_{clock},10-{day:02d}-2026"
    prefix = ""
    if not own or rng.random() < 0.5:
        row["received"] = f"2026-10-{day:02d} {clock}"
        prefix = row["received"] + rng.choice((" ", " 3 > ", ": "))
        if not own:
            row["time"] = row["received"]
    return row, prefix, body.encode()


def one(program, folder, rng, trial):
    lines, good, aside, links = [], [], collections.Counter(), 0
    for i in range(rng.randrange(30, 120)):
        row, prefix, body = event(rng, i)
        n, c = len(body), crc(body)
        how = rng.choice(("good",) * 8 + ("crc", "length", "both", "remark", "link"))
        if how == "good":
            good.append(row)
        elif how == "crc":
            c ^= 1 << rng.randrange(16)
            aside["the CRC does not fit"] += 1
        elif how == "length":
            n += rng.choice((1, 7, 64))
            aside["the length does not fit"] += 1
        elif how == "both":
            n, c = n + 1, c ^ 0x0100
            aside["neither length nor CRC"] += 1
        elif how == "link":
            body, links = b'"NULL"0000L0#' + row["account"].encode() + b"[]", links + 1
            n, c = len(body), crc(body)
        if how == "remark":
            lines.append(b"line card 2 restarted")
            aside["no DC-09 frame"] += 1
        else:
            lines.append(prefix.encode() + b"%04X0%03X" % (c, n) + body)
    if not good:
        return
    end = rng.choice((b"\n", b"\r\n", b"\r"))
    with open(f"{folder}/{trial}.log", "wb") as f:
        f.write(end.join(lines) + end)
    path = write_csv(f"{folder}/{trial}.csv", COLUMNS, [[r[c] for c in COLUMNS] for r in good])
    told, = program.ingest(f"{folder}/{trial}.db", f"{folder}/{trial}.log", timezone="UTC", no_judge=True)
    program.ingest(f"{folder}/{trial}-csv.db", path, timezone="UTC", no_judge=True)
    assert told["set_aside"] == sum(aside.values()), f"trial {trial}: {told}, {aside}"
    assert told["rows"] == len(lines) - links, f"trial {trial}: {told}"
    for part, rows in aside.items():
        assert sum(n for reason, n in told["reasons"].items() if part in reason) == rows, \
            f"trial {trial}: {part}: {told['reasons']}"
    want, have = (collections.Counter(tuple(r[c] for c in (*COLUMNS, "word", "marks", "utc"))
                                      for r in program.table(f"{folder}/{trial}{db}", "events"))
                  for db in ("-csv.db", ".db"))
    # A CSV says Z, a frame is in UTC: both are stored as +00:00.
    assert want == have, f"trial {trial}: missing {list((want - have).items())[:2]}, " \
        f"too many {list((have - want).items())[:2]}"


def main(program, folder, seed):
    assert crc(b"123456789") == 0xBB3D      # check value of CRC-16/ARC
    for trial in range(TRIALS):
        one(program, folder, random.Random(1000 * seed + trial), trial)


cases(main)
