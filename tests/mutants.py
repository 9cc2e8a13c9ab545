#!/usr/bin/env python3
"""Do the tests notice when a rule is made wrong?

    mutants.py BUILD [--only TEXT] [--jobs N] [-v]

Each mutant is the program with one thing in rules/ changed: the default of a setting one
up or one down, or a guard (an `if` that leads to nothing but `continue`, `return` or
`break`) that never holds. It is noticed when a case of tests/rules fails, else a unit
test, else when the score over two towns of each kind reads differently. A mutant that
nobody notices is a hole in the tests; those that cannot matter stand with their reason in
tests/mutants.txt. BUILD has the objects of the rules as they are.
"""
import argparse
import concurrent.futures
import glob
import os
import re
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(HERE)
KNOWN = f"{HERE}/mutants.txt"
CC = ["gcc", "-std=gnu17", "-O0", "-w", "-I.", "-D_GNU_SOURCE", "-D_FILE_OFFSET_BITS=64"]
LIBS = ["-lcmocka", "-lsqlite3", "-lz", "-lpcre2-8", "-lpthread", "-lm"]
TOO_LONG = 60	# seconds; a loop without an end is noticed too
SETTING = re.compile(r'^\t\{ "(\w+)", (-?[\d.e-]+), (-?[\d.e-]+), (-?[\d.e-]+), "')


def settings(path, lines):
    """A default one up, one down, within the range that a person may set."""
    for n, line in enumerate(lines):
        m = SETTING.match(line)
        if not m:
            continue
        value, least, most = (float(x) for x in m.groups()[1:])
        step = 1 if value == int(value) and most - least >= 1 else value / 2
        for other in (value - step, value + step):
            if least <= other <= most:
                new = lines[:]
                new[n] = line[:m.start(2)] + f"{other:g}" + line[m.end(2):]
                yield f"{path}: {m[1]} is {other:g} for {m[2]}", new


def condition(lines, n):
    """The condition of the `if` in line n: (its text, its last line, what follows there)."""
    depth, text = 0, ""
    for k in range(n, min(n + 8, len(lines))):
        for i, c in enumerate(lines[k]):
            if k == n and i < lines[n].index("if (") + 3:
                continue
            depth += (c == "(") - (c == ")")
            text += c
            if depth == 0:
                return text, k, lines[k][i + 1:].strip()
        text += "\n"
    return None


def guards(path, lines):
    """An `if` whose whole body is a way out, made one that never holds."""
    for n, line in enumerate(lines):
        if not re.match(r"^\t+if \(", line):
            continue
        found = condition(lines, n)
        if not found or found[2] or found[1] + 1 >= len(lines):
            continue
        text, last, _ = found
        if not re.match(r"^\t+(continue|return|break)\b.*;$", lines[last + 1]):
            continue
        if last + 2 < len(lines) and lines[last + 2].strip().startswith("else"):
            continue
        new = lines[:]
        new[n:last + 1] = [line[:line.index("if (")] + "if (0 && " + text + ")"]
        new += [""] * (last - n)
        yield f"{path}: {' '.join(text.split())} {lines[last + 1].strip()}", new


def run(*words, **more):
    try:
        return subprocess.run(words, cwd=ROOT, capture_output=True, stdin=subprocess.DEVNULL,
                              timeout=TOO_LONG, check=False, **more)
    except subprocess.TimeoutExpired:
        return None


class Trial:
    def __init__(self, build, folder):
        self.build, self.folder = os.path.abspath(build), folder
        self.lib = f"{self.build}/libtripsift.a"
        helps = sorted(glob.glob(f"{self.build}/tests/unit/help_*.o"))
        tests = sorted(glob.glob(f"{self.build}/tests/unit/test_*.o"))
        first = f"{self.build}/tests/unit/test_rules_files.o"
        # Only tests that use a rule's module or a view can notice.
        def uses(t):
            with open(f"{ROOT}/tests/unit/{os.path.basename(t)[:-2]}.c", encoding="utf-8") as f:
                return re.search('"(rules/|tests/unit/help_view)', f.read())
        self.tests = [first] + [t for t in tests if t != first and uses(t)]
        self.helps = helps

    def link(self, out, *objects):
        done = run("gcc", "-o", out, *objects, self.lib, *LIBS)
        if not done or done.returncode:
            sys.exit(f"cannot be linked: {done and done.stderr.decode()}")
        return out

    def score(self, program):
        done = run(sys.executable, "tests/score.py", program, "--tune", "2", "--report", "0")
        return done and (done.returncode, done.stdout)

    def noticed(self, mutant):
        """By what; None: by nothing; "": it is no C."""
        name, lines = mutant
        with tempfile.TemporaryDirectory(dir=self.folder) as d:
            with open(f"{d}/m.c", "w", encoding="utf-8") as f:
                f.write("\n".join(lines) + "\n")
            if run(*CC, "-c", "-o", f"{d}/m.o", f"{d}/m.c").returncode:
                return ""
            for t in self.tests:
                test = self.link(f"{d}/t", t, f"{d}/m.o", *self.helps)
                done = run(test)
                os.remove(test)
                if not done or done.returncode:
                    return os.path.basename(t)[5:-2]
            program = self.link(f"{d}/tripsift", f"{self.build}/daemon/main.o", f"{d}/m.o")
            return "score" if self.score(program) != self.usual else None


def main():
    p = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    p.add_argument("build")
    p.add_argument("--only", default="", help="mutants whose line holds this text")
    p.add_argument("--jobs", type=int, default=os.cpu_count())
    p.add_argument("-v", "--verbose", action="store_true")
    args = p.parse_args()
    known = {}
    with open(KNOWN, encoding="utf-8") as f:
        for line in f:
            if line.strip() and not line.startswith("#"):
                name, _, why = line.rstrip("\n").partition(" -- ")
                known[name] = why
    mutants = []
    for path in sorted(glob.glob("rules/*.c", root_dir=ROOT)):
        with open(f"{ROOT}/{path}", encoding="utf-8") as f:
            lines = f.read().split("\n")
        mutants += [m for make in (settings, guards) for m in make(path, lines) if args.only in m[0]]
    by, holes, stale = {}, [], []
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(args.build, folder)
        trial.usual = trial.score(f"{trial.build}/tripsift")
        with concurrent.futures.ThreadPoolExecutor(args.jobs) as pool:
            for (name, _), by_what in zip(mutants, pool.map(trial.noticed, mutants)):
                by[by_what] = by.get(by_what, 0) + 1
                if by_what is None and name not in known:
                    holes.append(name)
                    print(f"NOT NOTICED  {name}", flush=True)
                elif by_what and name in known:
                    stale.append(name)
                    print(f"noticed by {by_what}, though listed as one that cannot matter: {name}")
                elif args.verbose:
                    print(f"{by_what or 'known'}: {name}", flush=True)
    told = ", ".join(f"{n} by {what}" for what, n in sorted(by.items(), key=str) if what)
    print(f"{len(mutants)} mutants: noticed {told}; {by.get('', 0)} are no C;"
          f" {by.get(None, 0) - len(holes)} known not to matter; {len(holes)} not noticed")
    sys.exit(bool(holes or stale or not mutants))


main()
