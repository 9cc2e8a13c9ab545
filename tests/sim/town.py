#!/usr/bin/env python3
"""Makes the exports of Quenlow, a made-up town, and the truth about it.

    town.py --out DIR [--seed S] [--accounts N] [--days D] [--more]

DIR/town/ gets what a monitoring station and an installer would export; beside it
truth.csv (what was planted) and quiet.csv (what only looks like it). The same
arguments give the same bytes. --more tells other stories in place of the usual ones:
faults for the rules that those leave out.
"""
import argparse
import csv
import gzip
import io
import os
import random
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import world
from cells import OF_USER, cell
from more import MORE_CAST, STREET, quarter_dark, street_flickers
from stories import CAST, CAST_CARTON, STORIES, bad_carton
from world import DAY, HOUR, T0, Account, Device, Serials

FEWEST = len(CAST) + CAST_CARTON + 2
FEWEST_MORE = len(MORE_CAST) + 2 * STREET + 7
USUAL, USUAL_MORE = 54, 96
SHORTEST = 42
COLUMNS = ("account", "time", "event", "zone", "partition", "serial", "user", "text", "received", "signal")
TRUTH = ("account", "rule", "subject", "also", "onset", "level", "state", "strength", "note")
QUIET = ("account", "rule", "subject", "also", "note")
LEARNING = ("learn-heard", "learn-refused", "learn", "unlearn")


class Town:
    def __init__(self, seed, accounts, days, more=False):
        self.rng = random.Random(f"town/{seed}")
        self.seed, self.days, self.more = seed, days, more
        self.start, self.end = T0, T0 + days * DAY
        self.serials = Serials(random.Random(f"serials/{seed}"))
        self.digits = 4 if accounts < 2000 else 6
        self.numbers = {"118", "0118"}
        self.truths, self.quiets, self.echoes = [], [], []
        self.accounts = [Account(n, seed) for n in ("118", "0118")]
        self.accounts += [Account(self.number(), seed) for _ in range(accounts - 2)]
        self.cast()
        for a in self.accounts:
            world.furnish(a, self.serials)
        for a in self.accounts:
            world.schedule(a, days)
        for a in self.accounts:
            for name in a.stories:
                STORIES[name](self, a)
        self.cells_run_down()
        for a in self.accounts:
            if a.activity == "all" and not a.roster:
                for d in (d for d in a.devices if d.kind == "motion"):
                    self.quiet(a, "chatter", d, "people walk about; no list says it sees motion")
        for a in self.accounts:
            world.doors(a)
            world.motion(a)
            world.checkins(a, days)
            world.noise(a, days)
        self.echo()

    def number(self):
        while True:
            n = str(self.rng.randrange(2 * 10 ** (self.digits - 1), 9 * 10 ** (self.digits - 1)))
            if n not in self.numbers:
                self.numbers.add(n)
                return n

    # -- casting --------------------------------------------------------------
    def cast(self):
        rounds = 1 if self.more else max(1, len(self.accounts) // 52)
        parts = [p for _ in range(rounds) for p in (MORE_CAST if self.more else CAST)]
        used = {sort: 0 for sort in world.SITES}
        for a in self.accounts:
            a.stories = list(parts.pop(0)) if a not in self.accounts[:2] and parts else []
            self.character(a)
            names, n = world.NAMES[a.sort], used[a.sort]
            used[a.sort] += 1
            a.name = names[n % len(names)] + (f" {n // len(names) + 1}" if n >= len(names) else "")
        plain = [a for a in self.accounts if not a.stories and a.roster and a.sort != "cabin"]
        self.rng.shuffle(plain)
        self.carton = []
        if self.more:
            self.streets = [plain[:STREET], plain[STREET:2 * STREET]]
            for group, street in zip(("hillside", "quayside"), self.streets):
                for a in street:
                    a.group, a.calm, a.timezone = group, True, world.HOME_ZONE
            return
        self.carton = plain[:CAST_CARTON * rounds]
        for a in self.carton:
            a.contact_cell = "CR2"

    def character(self, a):
        rng = a.rng
        pick = lambda choices, weights: rng.choices(choices, weights)[0]
        a.sort = pick(("house", "shop", "works", "school", "cabin"), (56, 20, 9, 6, 9))
        a.way = pick(("words", "dc05", "dc03"), (35, 40, 25))
        a.activity = pick(("none", "doors", "all"), (70, 24, 6))
        a.checkin = pick((0, 12 * HOUR), (66, 34))
        a.clock = pick(("local", "offset", "utc", "ms", "minute"), (60, 20, 10, 5, 5))
        a.contact_cell = pick(("CR123A", "CR2", "CR2450"), (70, 20, 10))
        a.roster = rng.random() < 0.9
        if a.sort != "cabin" and rng.random() < 0.2:
            a.timezone = rng.choice(world.OTHER_ZONES)
        if a.stories:
            a.roster = True
            a.clock = "local" if a.clock == "minute" else a.clock
        elif rng.random() < 0.25:
            day = rng.randrange(3, self.days - 12)
            a.holidays = [(day, day + 7)]
        for name in a.stories:
            for trait, value in STORIES[name].needs.items():
                if trait == "must_have":
                    value = a.must_have + value
                setattr(a, trait, value)
        if not a.group:
            a.group = {"shop": "market", "works": "riverside", "cabin": "lake"}.get(a.sort, "town")
        if a.way == "words" and a.tells == "zone":
            a.tells = pick(("zone", "both"), (60, 40))
        a.stated = a.stated or (a.checkin > 0 and rng.random() < 0.6)
        a.gives_signal = rng.random() < 0.3
        a.received = rng.random() < 0.9 or "clock_of_2000" in a.stories or "line_down" in a.stories
        a.lag = rng.choice(((1, 4), (1, 4), (5, 40)))

    # -- for the stories ---------------------------------------------------------
    def serial(self, a, carton):
        return self.serials.fresh((a.number, carton), a.form)

    def planned(self, a, day, kind, name, zone=None, replaces=""):
        """A device that the plan of that day's visit names. It is not there yet."""
        zone = zone or a.next_zone()
        part, cells = world.CELLS.get(kind, (a.contact_cell, 1))
        d = Device(zone, kind, name, self.serial(a, "visit"), part, cells)
        date = f"{datetime(2026, 9, 14) + timedelta(days=day):%Y-%m-%d}"
        visit = date if day % 3 else f"{date} 08:00/{date} 18:30"
        a.plans.append((a.number, d.serial, visit, zone, kind, name, len(a.plans) + 1, replaces))
        d.installed = date
        return d

    def truth(self, a, rule, device, onset, level, strength, note, also="", state="open"):
        number = a if isinstance(a, str) else a.number
        subject, more = self.subject(device)
        self.truths.append((number, rule, subject, " ".join(x for x in (more, also) if x),
                            utc(onset), level, state, strength, note))

    def past(self, a, rule, device, onset, note):
        """What was so for a while and is mended: no finding is open at the end."""
        self.truth(a, rule, device, onset, "any", "plain", note, state="past")

    def quiet(self, a, rule, device, note):
        subject, more = self.subject(device)
        self.quiets.append((a.number, rule, subject, more, note))

    @staticmethod
    def subject(device):
        if device is None:
            return "site", ""
        if not device.zone:
            return f"serial:{device.serial}", ""
        return f"zone:{device.zone}", f"serial:{device.serial}"

    def cells_run_down(self):
        if self.more:
            quarter_dark(self, self.streets[0])
            street_flickers(self, self.streets[1])
        else:
            bad_carton(self, self.carton)
        for a in self.accounts:
            if a not in self.carton and not any(d.low for d in a.devices) and a.group != "lake":
                if a.rng.random() < 0.16:
                    low = world.single_low_battery(a, self.days)
                    if not low:
                        continue
                    d, at, changed = low
                    if self.more and changed and not a.dark:
                        self.quiet(a, "low-battery", d, "a cell that ran down and was changed")
                        self.past(a, "low-battery", d, at, "until its cell was changed")
                    elif self.more:
                        self.truth(a, "low-battery", d, at, "any", "plain", "a cell that ran down",
                                   state="maybe" if a.dark or not (d.life or d.free(self.end - 1))
                                   else "open")

    def echo(self):
        """A device learned at two sites is heard at both."""
        for other, theirs, a, foreign in self.echoes:
            for e in list(other.events):
                if e.serial == theirs.serial and e.at > foreign.born and e.thing.startswith("zone-"):
                    a.say(e.at, e.thing, foreign)

    # -- writing -------------------------------------------------------------------
    def rows(self, lake):
        """Rows of events as exported, in the order in which the station had them."""
        out = []
        for a in (x for x in self.accounts if (x.group == "lake") == lake):
            zone = ZoneInfo(a.timezone)
            rng = random.Random(f"lag/{self.seed}/{a.number}")
            for e in sorted(a.events, key=lambda e: e.at):
                if any(f <= e.at < t for f, t in a.dark) and not e.own:
                    continue
                if not self.start <= e.at < self.end:
                    continue
                if a.unarmed and e.at > a.unarmed and e.thing in ("arm", "arm-stay", "disarm"):
                    continue
                if any(f <= e.at < t and e.thing == thing for f, t, thing in a.unsaid):
                    continue
                had = e.at + rng.randrange(*a.lag)
                for f, t in a.offline:
                    if f < e.at < t:
                        had = t + 1 + (e.at - f) * 50 // (t - f)
                out.append((had if a.received else e.at, row(a, e, zone, had)))
        out.sort(key=lambda r: r[0])
        return out

    def write(self, out):
        os.makedirs(f"{out}/town", exist_ok=True)
        share = lambda part: self.start + int(self.days * part) * DAY
        rows = self.rows(lake=False)
        save(f"{out}/town/events-1.csv.gz", COLUMNS, [r for at, r in rows if at < share(.54)])
        save(f"{out}/town/events-2.csv", COLUMNS, [r for at, r in rows if at >= share(.48)])
        rows = self.rows(lake=True)
        # The lake's station writes semicolons; its second export begins four days after the
        # first one ends, and has the newest row on top.
        save(f"{out}/town/lake-1.csv", COLUMNS, [r for at, r in rows if at < share(.42)], ";")
        save(f"{out}/town/lake-2.csv", COLUMNS,
             [r for at, r in rows if at >= share(.42) + 4 * DAY][::-1], ";")
        self.write_lists(f"{out}/town")
        save(f"{out}/truth.csv", TRUTH, sorted(self.truths))
        save(f"{out}/quiet.csv", QUIET, sorted(self.quiets))

    def write_nights(self, out):
        """The lists, and one file of events a day, by when the station had them, with
        nothing missing. Returns (file, end of its day) in order."""
        self.write_lists(out)
        days = [[] for _ in range(self.days)]
        for lake in (False, True):
            for at, r in self.rows(lake):
                if at < self.end:
                    days[(at - self.start) // DAY].append(r)
        out = [(f"{out}/night-{n:02}.csv", rows) for n, rows in enumerate(days)]
        for path, rows in out:
            save(path, COLUMNS, rows)
        return [(path, self.start + (n + 1) * DAY) for n, (path, _) in enumerate(out)]

    def write_lists(self, out):
        accounts = sorted(self.accounts, key=lambda a: a.number)
        save(f"{out}/sites.csv", ("account", "timezone", "name", "group", "was", "since"),
             [(a.number, a.timezone, a.name, a.group, a.was, utc(a.since) if a.since else "")
              for a in accounts])
        head = ("account", "zone", "serial", "device", "name", "cell", "cells", "installed", "checkin",
                "as_of")
        listed = lambda a, d, as_of: (a.number, d.zone, printed(d.serial), d.kind, d.name, d.cell,
                                      d.cells or "", d.installed, self.interval(a, d), as_of)
        save(f"{out}/roster.csv", head,
             [listed(a, d, "2026-09-01") for a in accounts if a.roster
              for d in a.devices if d.born < self.start])
        later = []
        for a in (a for a in accounts if a.relist):
            at = a.local(a.relist, 12)
            later += [listed(a, d, utc(at)[:10]) for d in a.devices
                      if d.born < at and (d.died is None or d.died > at)]
        save(f"{out}/roster-later.csv", head, later)
        save(f"{out}/plan.csv", ("account", "serial", "visit", "zone", "device", "name", "order",
                                 "replaces"),
             [(n, printed(s), *rest) for a in accounts for n, s, *rest in a.plans])
        save(f"{out}/service.csv", ("account", "time", "what", "zone", "serial", "who"),
             [(a.number, utc(at), *rest) for a in accounts for at, *rest in sorted(a.service)])

    @staticmethod
    def interval(a, d):
        if not a.stated or not d.supervised:
            return ""
        return f"{(a.checkin or 12 * HOUR) // HOUR}h"


def utc(at):
    return f"{datetime.fromtimestamp(at, timezone.utc):%Y-%m-%dT%H:%M:%SZ}"


def printed(serial):
    """As on the sticker: eight digits and more stand in two groups."""
    return f"{serial[:-4]}-{serial[-4:]}" if len(serial) > 7 else serial


def row(a, e, zone, had):
    number = a.was if a.was and e.at < a.renamed else a.number
    at = e.at + sum(fast + (e.at - f) * rate // DAY for f, t, fast, rate in a.clock_error
                    if f <= e.at < t)
    wall = datetime.fromtimestamp(at, zone)
    for f, t in a.lost_clock:
        if f <= e.at < t:
            wall = datetime(2000, 1, 1, tzinfo=zone) + timedelta(seconds=e.at - f)
    if a.clock == "utc":
        time = utc(at)
    elif a.clock == "offset":
        time = wall.isoformat(timespec="seconds")
    else:
        time = f"{wall:%Y-%m-%d %H:%M}" if a.clock == "minute" else f"{wall:%Y-%m-%d %H:%M:%S}"
        time += f".{at * 37 % 1000:03d}" if a.clock == "ms" else ""
    place, serial, user = e.zone, e.serial, e.user
    if e.thing not in LEARNING:
        serial = "" if a.tells == "zone" else serial
        place = "" if a.tells == "serial" and e.thing == "check-in" else place
    said = cell(a.way, e.thing, e.kind, e.raised)
    if said != e.thing and e.thing in OF_USER:
        place, user, serial = user, "", ""
    if a.way == "dc05":
        place = place.zfill(3) if place or e.thing not in LEARNING else ""
    return (number, time, said, place, "01" if a.way == "dc05" else "", serial, user,
            e.text, utc(had) if a.received else "", e.signal)


def save(path, head, rows, separator=","):
    text = io.StringIO(newline="")
    crlf = separator == ";"
    w = csv.writer(text, delimiter=separator, lineterminator="\r\n" if crlf else "\n")
    w.writerow(head)
    w.writerows(rows)
    data = text.getvalue().encode("utf-8-sig" if crlf else "utf-8")
    if path.endswith(".gz"):
        data = gzip.compress(data, 9, mtime=0)
    with open(path, "wb") as f:
        f.write(data)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--out", required=True)
    p.add_argument("--seed", type=int, default=2)
    p.add_argument("--accounts", type=int, default=0)
    p.add_argument("--days", type=int, default=46)
    p.add_argument("--more", action="store_true")
    o = p.parse_args()
    fewest = FEWEST_MORE if o.more else FEWEST
    accounts = o.accounts or (USUAL_MORE if o.more else USUAL)
    if accounts < fewest or o.days < SHORTEST:
        p.error(f"at least {fewest} accounts and {SHORTEST} days")
    Town(o.seed, accounts, o.days, o.more).write(o.out)


if __name__ == "__main__":
    main()
