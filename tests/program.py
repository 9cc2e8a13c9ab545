"""Runs the built program for the tests, as a person would, in a folder of its own."""
import collections
import csv
import io
import json
import os
import subprocess
import sys
import tempfile


class Program:
    def __init__(self, path):
        self.path = os.path.abspath(path)
        self.env = {"PATH": os.environ.get("PATH", ""), "TZ": "UTC", "LC_ALL": "C", "NO_COLOR": "1"}
        # A sanitizer's own exit code is 1, which would pass for "something needs a person".
        for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS"):
            self.env[name] = os.environ.get(name, "") + ":exitcode=99"

    def run(self, db, *words, ok=(0, 1)):
        done = subprocess.run([self.path, *words, "--db", db], env=self.env, capture_output=True,
                              stdin=subprocess.DEVNULL, check=False)
        if done.returncode not in ok:
            raise AssertionError(f"tripsift {' '.join(words)}: exit {done.returncode}\n"
                                 f"{done.stderr.decode(errors='replace')}")
        return done.stdout.decode()

    def ingest(self, db, *files, **options):
        """What the program says of each file, by its base name, in the order told."""
        words = [w for name, value in options.items()
                 for w in ([f"--{name.replace('_', '-')}"] + ([] if value is True else [str(value)]))]
        told = json.loads(self.run(db, "ingest", *files, *words, "--format", "json"))
        return told["files"]

    def findings(self, db, *words):
        return json.loads(self.run(db, "triage", "--format", "json", "--state", "all",
                                   *words))["findings"]

    def table(self, db, what):
        """An export as a list of dicts."""
        return list(csv.DictReader(io.StringIO(self.run(db, "export", what), newline="")))


def judged(program, db):
    """(open, cleared) findings as texts, without what may differ: id, state, where rows lie.

    What a person was once shown stays on record as cleared, so a store that was judged
    half-way may hold more cleared findings than one judged once; never other open ones.
    """
    out = [], []
    for f in program.findings(db):
        cleared = f["state"] == "cleared"
        f = {k: v for k, v in f.items() if k not in ("id", "state")}
        f["evidence"] = sorted((e["time"], e["event"]) for e in f["evidence"])
        f["members"] = len(f["members"])
        out[cleared].append(json.dumps(f, sort_keys=True))
    return sorted(out[0]), sorted(out[1])


def same(what, where, want, have, more=False):
    """Both lists hold the same, any order; `more`: the second may hold others too."""
    want, have = collections.Counter(want), collections.Counter(have)
    missing, extra = want - have, collections.Counter() if more else have - want
    if missing or extra:
        short = lambda c: "\n".join(f"  {str(x)[:1500]}" for x in list(c.elements())[:3])
        raise AssertionError(f"{where}: {what} differs: {sum(missing.values())} missing,"
                             f" {sum(extra.values())} too many\nmissing:\n{short(missing)}\n"
                             f"too many:\n{short(extra)}")


def cases(main):
    """Calls main(program, folder) with the program's path from the command line."""
    if len(sys.argv) < 2:
        sys.exit(f"usage: {sys.argv[0]} PROGRAM [SEED]")
    numbers = [int(w) for w in sys.argv[2:] if w.isdigit()]
    seed = numbers[0] if numbers else 1
    with tempfile.TemporaryDirectory() as folder:
        try:
            main(Program(sys.argv[1]), folder, seed)
        except AssertionError as e:
            sys.exit(f"{os.path.basename(sys.argv[0])}: FAILED (seed {seed})\n{e}")
    print(f"{os.path.basename(sys.argv[0])}: ok")


def write_csv(path, head, rows, separator=","):
    with open(path, "w", newline="", encoding="utf-8") as f:
        w = csv.writer(f, delimiter=separator, lineterminator="\n")
        w.writerow(head)
        w.writerows(rows)
    return path
