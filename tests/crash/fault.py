#!/usr/bin/env python3
"""Fault: the n-th call of the system fails, for every n; the program says so and keeps what it has.

    fault.py PROGRAM SHIM [SEED] [MOST]

Over the loads of crash.py, by shim.c: writing, syncing, opening, renaming, removing, making a
folder fail once, or as often as a disk stays full. The program ends with 0 or 1 only when all
is done all the same; else with 3 and a reason. The daemon rests (which takes no time here),
tries again, and ends with all done. Afterwards a run without faults leaves what a run that was
never disturbed leaves. MOST tries of each kind and load, by chance (default: 300; of most kinds
that is every call). Memory fails likewise, in the whole program: once, or from then on.
LOADS="watch,expire" in the environment: only these.
"""
import concurrent.futures
import errno
import os
import random
import shutil
import sqlite3
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..")]
from loads import chosen, Decide, Expire, ExpireByNight, First, Ingest, Nightly, Watch
from program import cases, same

KINDS = (
    ("write", errno.ENOSPC, 1), ("write", errno.ENOSPC, 30), ("write", errno.EIO, 1),
    ("sync", errno.EIO, 1), ("sync", errno.ENOSPC, 20), ("open", errno.EMFILE, 1),
    ("open", errno.EMFILE, 12), ("open", errno.EIO, 1), ("rename", errno.EIO, 1),
    ("rename", errno.EROFS, 4), ("unlink", errno.EIO, 1), ("unlink", errno.EROFS, 8),
    ("mkdir", errno.ENOSPC, 1), ("malloc", errno.ENOMEM, 1), ("malloc", errno.ENOMEM, 1000000),
)
ENOUGH = 60  # seconds


class Trial:
    def __init__(self, program, shim, folder, kind):
        self.program, self.shim, self.kind = program, shim, kind
        self.folder = f"{folder}/{kind.name}".replace(" ", "-")
        self.made = f"{self.folder}/made"
        os.makedirs(self.made)
        kind.begin(program, self.made)
        kind.end()
        shutil.copytree(self.made, f"{self.folder}/calm")
        kind.moved(f"{self.folder}/calm")
        kind.finish(program, f"{self.folder}/calm")
        self.want = kind.result(program, f"{self.folder}/calm")

    def compare(self, d):
        store, folders = self.kind.result(self.program, d)
        for what, x, y in zip(("log", "open findings"), self.want[0], store):
            same(what, "afterwards", map(str, x), map(str, y))
        for what, x, y in zip(("done/", "failed/"), self.want[1] or (), folders or ()):
            same(what, "afterwards", x, y)

    def run(self, call, n, error, times, env):
        """(was there a fault, why it is wrong or None)"""
        d = f"{self.folder}/{call}-{n}-{error}-{times}"
        shutil.copytree(self.made, d)
        self.kind.moved(d)
        p = None
        try:
            p = subprocess.run([self.program.path, *self.kind.words(d)], env={
                **self.program.env, "LD_PRELOAD": self.shim, "SHIM_ROOT": d, "SHIM_WARP": "1", "SHIM_HIT": f"{d}.hit",
                **env}, capture_output=True, stdin=subprocess.DEVNULL, check=False, timeout=ENOUGH)
            assert p.returncode in (0, 1, 3), f"exit {p.returncode}"
            assert p.returncode < 3 or p.stderr, "it failed and did not say why"
            if not self.kind.undone(p, d) and p.returncode < 3:
                self.compare(d)
            self.kind.finish(self.program, d)
            self.compare(d)
        except subprocess.TimeoutExpired as e:
            return True, f"does not end: {(e.stderr or b'')[-1500:].decode(errors='replace')}"
        except (AssertionError, OSError, sqlite3.Error, ValueError) as e:
            told = p.stderr[-3000:].decode(errors="replace") if p else ""
            return True, f"exit {p and p.returncode}: {type(e).__name__}: {str(e)[-2500:]}\n{told}"
        finally:
            hit = os.path.exists(f"{d}.hit")
            if hit:
                os.remove(f"{d}.hit")
            shutil.rmtree(d, ignore_errors=True)
        return hit, None

    def fault(self, call, n, error, times):
        return self.run(call, n, error, times, {"SHIM_FAIL": f"{call} {n} {error} {times}"})

    def calls(self, call):
        """How many of them a run makes."""
        count = f"{self.folder}/count"
        self.run(call, 2**40, errno.EIO, 1, {"SHIM_FAIL": f"{call} {2**40} 5 1", "SHIM_COUNT": count})
        with open(count, encoding="ascii") as f:
            return int(f.read())


def main(program, folder, seed):
    numbers = [int(w) for w in sys.argv[2:] if w.isdigit()]
    shim, most = os.path.abspath(sys.argv[2]), numbers[1] if len(numbers) > 1 else 300
    rng = random.Random(f"fault/{seed}")
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count() + 1) as pool:
        for kind in chosen(Ingest, Decide, Nightly, Watch, First, Expire, ExpireByNight):
            t = Trial(program, shim, folder, kind())
            count = {call: t.calls(call) for call in dict.fromkeys(k[0] for k in KINDS)}
            tries = [(call, n, error, times) for call, error, times in KINDS
                     for n in rng.sample(range(1, count[call] + 1), min(count[call], most))]
            wrong = []
            hits = 0
            for one, (hit, why) in zip(tries, pool.map(lambda x: t.fault(*x), tries)):
                hits += hit
                if why:
                    wrong.append((one, why))
            print(f"fault.py: {t.kind.name}: {len(tries)} tries of {sum(count.values())} calls, {hits} with a fault, "
                  f"{len(wrong)} wrong", flush=True)
            if wrong:
                (call, n, error, times), why = wrong[0]
                others = "; ".join(f"{c} {i} {errno.errorcode[x]} {y}" for (c, i, x, y), _ in wrong[1:40])
                raise AssertionError(f"{t.kind.name}: {call} number {n} failed {times} times, {errno.errorcode[error]}: "
                                     f"{why}\nalso wrong: {others}")


cases(main)
