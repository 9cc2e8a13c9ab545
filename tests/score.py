#!/usr/bin/env python3
"""What the rules find, miss and invent over towns with planted faults.

    score.py PROGRAM [--tune N] [--report N] [--kind usual|more] [--nights N] [--table FILE] [-v]

Ten seeds are for tuning; ten others are only looked at here. Of each there are two
towns: the usual one, with faults for five rules, and one with faults for the others
(--more of town.py), in which all rules are held to account. A fault counts as
found when a finding of its rule names its device (or the site); as missed when none
does, or only one that the rule already calls cleared. An open finding that no
planted cause explains is false. Of what is found: "level" counts another level than the
cause deserves, "onset" a beginning more than a day off, "split" further open findings
on the same cause. The last three columns are found of planted by the strength of the
cause.

The first N towns of each kind are also read night by night, as a station would: from the
onset of a cause to the end of the day after which its finding is first shown, and the
findings without a cause that were shown for a while ("passing"). A finding should not
flicker: "back" counts those that were cleared and rose again, "moved" those whose onset
went on by over a day while they stood, "level" those whose level fell and rose again.
"""
import argparse
import collections
import concurrent.futures
import csv
import datetime
import functools
import os
import statistics
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(HERE, "sim"))
from program import Program
from town import QUIET, TRUTH, USUAL, USUAL_MORE, Town, utc

TUNE, REPORT = 100, 200		# first seeds
KINDS = ("usual", "more")
LEVELS = ("now", "soon", "later")
ALL_RULES = [name for name in os.listdir(os.path.join(HERE, "rules"))]
STRENGTHS = ("weak", "plain", "strong")
COUNTS = ("planted", "found", "missed", "level", "onset", "false", "split")


def key(text):
    return "".join(c for c in (text or "").upper() if c.isalnum()).lstrip("0")


def names(planted):
    """The places that a planted row names: {"zone:5", "serial:4A0071"} or {"site"}."""
    words = f"{planted['subject']} {planted['also']}".split()
    return {w if w == "site" else w.split(":")[0] + ":" + key(w.split(":", 1)[1]) for w in words}


def about(finding):
    out = {f"{what}:{key(finding[what])}" for what in ("zone", "serial") if finding.get(what)}
    return out or {"site"}


def explains(planted, finding):
    account = finding["account"] or "*"
    if planted["rule"] != finding["rule"] or planted["account"] != account:
        return False
    told = about(finding)
    # A finding on the whole session or site may stand for the devices of a visit.
    if told == {"site"} and finding["rule"] == "learn-mismatch":
        return True
    if account == "*":	# many accounts: the cell type or the group stands in the sentence
        return planted["also"].split(":")[1] in finding["summary"].replace(",", " ").split()
    return bool(names(planted) & told)


def when(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00"))


def is_open(finding):
    return finding["state"] != "cleared"


class Score:
    def __init__(self, verbose, rules):
        self.rules = rules	# held to account even where a town has no fault for them
        self.count = collections.defaultdict(collections.Counter)
        self.by_strength = collections.defaultdict(collections.Counter)
        self.others = collections.Counter()
        self.notes, self.verbose = [], verbose

    def town(self, seed, truths, quiets, findings):
        truths = [t for t in truths if t["state"] != "past"]
        rules = self.rules | {t["rule"] for t in truths}
        used = collections.Counter()
        for t in truths:
            mine = [f for f in findings if explains(t, f)]
            if t["state"] == "open":
                mine = [f for f in mine if is_open(f)]
            used.update(f["id"] for f in mine)
            if t["state"] == "maybe":
                continue
            c = self.count[t["rule"]]
            c["planted"] += 1
            strength = self.by_strength[t["rule"], t["strength"]]
            strength["planted"] += 1
            if not mine:
                c["missed"] += 1
                self.note(seed, "missed", t["rule"], t["account"], t["subject"], t["note"])
                continue
            c["found"] += 1
            strength["found"] += 1
            c["split"] += max(0, len([f for f in mine if is_open(f)]) - 1)
            if t["level"] != "any" and t["level"] not in (f["level"] for f in mine):
                c["level"] += 1
                self.note(seed, f"level {mine[0]['level']} for {t['level']}", t["rule"], t["account"],
                          t["subject"], t["note"])
            if min(abs(when(f["onset"]) - when(t["onset"])) for f in mine) > datetime.timedelta(days=1):
                c["onset"] += 1
                self.note(seed, f"onset {mine[0]['onset']} for {t['onset']}", t["rule"], t["account"],
                          t["subject"], t["note"])
        for f in findings:
            if f["rule"] not in rules:
                self.others[f["rule"]] += is_open(f)
            elif is_open(f) and not any(explains(t, f) for t in truths):
                self.count[f["rule"]]["false"] += 1
                why = next((q["note"] for q in quiets if explains(q, f)), f["summary"])
                self.note(seed, "false", f["rule"], f["account"], " ".join(sorted(about(f))), why)

    def add(self, other):
        for rule, counts in other.count.items():
            self.count[rule].update(counts)
        for what, counts in other.by_strength.items():
            self.by_strength[what].update(counts)

    def note(self, seed, what, rule, account, subject, text):
        self.notes.append(f"  {what}: seed {seed}: {rule} {account} {subject}: {text}")

    def show(self, title):
        print(f"{title}\n{'':20}" + "".join(f"{c:>9}" for c in COUNTS + STRENGTHS))
        for rule in sorted(self.count):
            self.count["all"].update(self.count[rule])
            for s in STRENGTHS:
                self.by_strength["all", s].update(self.by_strength[rule, s])
        for rule in sorted(self.count, key=lambda r: (r == "all", r)):
            by = [self.by_strength[rule, s] for s in STRENGTHS]
            print(f"  {rule:18}" + "".join(f"{self.count[rule][x]:9}" for x in COUNTS)
                  + "".join(f"{c['found']}/{c['planted']}".rjust(9) for c in by))
        if self.others:
            print("  findings of rules with nothing planted: "
                  + ", ".join(f"{r} {n}" for r, n in sorted(self.others.items())))
        order = ("failed", "missed", "false", "level", "onset")
        self.notes.sort(key=lambda n: order.index(n.split()[0].rstrip(":")))
        shown = self.notes if self.verbose else self.notes[:30]
        print("\n".join(shown))
        if len(shown) < len(self.notes):
            print(f"  and {len(self.notes) - len(shown)} more; -v shows them")
        print()


def town_of(kind, seed):
    more = kind == "more"
    return Town(seed, USUAL_MORE if more else USUAL, 46, more)


def read(path):
    with open(path, newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


def judged(program, kind, seed):
    """Causes, look-alikes and findings of one town; findings are a text if it failed."""
    with tempfile.TemporaryDirectory() as folder:
        town_of(kind, seed).write(folder)
        db = f"{folder}/town.db"
        try:
            program.ingest(db, f"{folder}/town")
            findings = program.findings(db)
        except AssertionError as e:
            findings = str(e)
        return read(f"{folder}/truth.csv"), read(f"{folder}/quiet.csv"), findings


def score_of(pool, program, seeds, kind, verbose):
    score = Score(verbose, set(ALL_RULES) if kind == "more" else set())
    for seed, (truths, quiets, findings) in zip(
            seeds, pool.map(functools.partial(judged, program, kind), seeds)):
        if isinstance(findings, str):
            score.note(seed, "failed", "-", "-", "-", findings)
        else:
            score.town(seed, truths, quiets, findings)
    return score


FLICKERS = ("back", "moved", "level")


def flickers(history):
    """What a finding did that it should not, of FLICKERS; history: night after night."""
    back = moved = falls = rises = 0
    for one, two in zip(history, history[1:]):
        back += not is_open(one) and is_open(two)
        if not (is_open(one) and is_open(two)):
            continue
        moved += when(two["onset"]) - when(one["onset"]) > datetime.timedelta(days=1)
        urgency = LEVELS.index(two["level"]) - LEVELS.index(one["level"])
        falls += urgency > 0
        rises += falls and urgency < 0
    return {"back": back, "moved": moved, "level": rises}


def by_night(program, kind, seed):
    """(rule, hours that a cause waited; None = never shown) of each, and of each finding
    (rule, flickers); and lines to show."""
    town = town_of(kind, seed)
    truths = [dict(zip(TRUTH, row)) for row in town.truths]
    every, truths = truths, [t for t in truths if t["state"] not in ("maybe", "past")]
    quiets = [dict(zip(QUIET, row)) for row in town.quiets]
    rules = {t["rule"] for t in truths}
    shown, stray = {}, {}	# hours by number of the cause; a line by finding
    history = collections.defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        db = f"{folder}/town.db"
        nights = town.write_nights(folder)
        program.ingest(db, *(f"{folder}/{n}.csv" for n in ("sites", "roster", "plan", "service")))
        for path, end in nights:
            day = "/".join(utc(x) for x in (end - 86400, end))
            program.ingest(db, path, covers=day)
            for f in program.findings(db):
                history[f["id"]].append(f)
                if f["rule"] not in rules:
                    continue
                for n, t in enumerate(truths):
                    told = is_open(f) or t["state"] == "any"
                    if told and n not in shown and explains(t, f):
                        shown[n] = (end - when(t["onset"]).timestamp()) / 3600
                if is_open(f) and not any(explains(t, f) for t in every):
                    why = next((q["note"] for q in quiets if explains(q, f)), f["summary"])
                    stray[f["id"]] = f"  seed {seed}: passing: {f['rule']} {f['account']} " \
                        f"{' '.join(sorted(about(f)))}: {why}"
    never = [f"  seed {seed}: never shown by night: {t['rule']} {t['account']} {t['subject']}: "
             f"{t['note']}" for n, t in enumerate(truths) if n not in shown]
    flicker, lines = [], []
    for nights in history.values():
        f, times = nights[-1], flickers(nights)
        flicker.append((f["rule"], times))
        lines += [f"  seed {seed}: {what} {n} times: {f['rule']} {f['account']} "
                  f"{' '.join(sorted(about(f)))}: {f['summary']}" for what, n in times.items() if n]
    return ([(t["rule"], shown.get(n)) for n, t in enumerate(truths)], flicker,
            never + sorted(stray.values()) + sorted(lines))


def show_nights(pool, program, n, kind, every):
    waits, flicker, lines = collections.defaultdict(list), collections.defaultdict(list), []
    for waited, unsteady, told in pool.map(functools.partial(by_night, program, kind),
                                           range(TUNE, TUNE + n)):
        lines += told
        for rule, hours in waited:
            waits[rule].append(hours)
        for rule, times in unsteady:
            flicker[rule].append(times)
    for rule, hours in waits.items():
        every[rule] += hours
    print(f"{n} towns of the {kind} kind night by night: hours from onset to finding, and findings "
          f"that flicker\n{'':20}"
          + "".join(f"{x:>9}" for x in ("causes", "never", "median", "most", "findings", *FLICKERS)))
    for rule in sorted(waits.keys() | flicker.keys()):
        known = [max(0, w) for w in waits[rule] if w is not None]
        spread = f"{statistics.median(known):9.0f}{max(known):9.0f}" if known else f"{'':18}"
        print(f"  {rule:18}{len(waits[rule]):9}{len(waits[rule]) - len(known):9}{spread}"
              f"{len(flicker[rule]):9}"
              + "".join(f"{sum(t[x] > 0 for t in flicker[rule]):9}" for x in FLICKERS))
    print("\n".join(lines) + "\n")


def write_table(path, score, towns, waits, nights):
    """What the rules page shows: counts over the towns of the report, of both kinds."""
    with open(path, "w", encoding="utf-8") as f:
        f.write(f"""# What was measured of the rules

Written by `make score-table`; the rules page shows it.

Measured {datetime.date.today()} over {towns} simulated towns with planted causes, none of them used for tuning; the waiting over {nights} other towns read night by night.

Causes planted, found and missed; how often the level was another than the cause deserves; false
findings, which no planted cause explains; found of planted among the weak, plain and strong causes;
hours from the onset of a cause to the end of the day after which its finding was first shown, the
median.

| rule | planted | found | missed | other level | false | weak | plain | strong | hours |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
""")
        for rule in sorted(score.count):
            c = score.count[rule]
            by = [score.by_strength[rule, s] for s in STRENGTHS]
            known = [max(0, w) for w in waits[rule] if w is not None]
            cells = [f"`{rule}`", *(str(c[x]) for x in ("planted", "found", "missed", "level", "false")),
                     *(f"{b['found']} of {b['planted']}" if b["planted"] else "-" for b in by),
                     f"{statistics.median(known):.0f}" if known else "-"]
            f.write("| " + " | ".join(cells) + " |\n")


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("program")
    p.add_argument("--tune", type=int, default=10)
    p.add_argument("--report", type=int, default=10)
    p.add_argument("--kind", choices=("both", *KINDS), default="both")
    p.add_argument("--nights", type=int, default=1)
    p.add_argument("--table", metavar="FILE", help="also write the table that the rules page shows")
    p.add_argument("-v", "--verbose", action="store_true")
    o = p.parse_args()
    program = Program(o.program)
    table, waits = Score(False, set()), collections.defaultdict(list)
    with concurrent.futures.ProcessPoolExecutor() as pool:
        for kind in KINDS if o.kind == "both" else [o.kind]:
            for n, first, what in ((o.tune, TUNE, "for tuning"),
                                   (o.report, REPORT, "for the report only")):
                if n:
                    score = score_of(pool, program, range(first, first + n), kind, o.verbose)
                    if first == REPORT:
                        table.add(score)
                    score.show(f"{n} towns of the {kind} kind {what}")
            if o.nights:
                show_nights(pool, program, o.nights, kind, waits)
    if o.table:
        write_table(o.table, table, o.report * (2 if o.kind == "both" else 1), waits,
                    o.nights * (2 if o.kind == "both" else 1))


if __name__ == "__main__":
    main()
