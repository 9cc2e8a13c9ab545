#!/usr/bin/env python3
"""The committed sample is what the generator writes, and its story names what was planted."""
import gzip
import os
import re
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, ".."), os.path.join(HERE, "..", "sim")]
from program import cases
from town import Town

SAMPLES = os.path.join(HERE, "..", "..", "samples")
FILES = ("truth.csv", "quiet.csv", "town/events-1.csv.gz", "town/events-2.csv", "town/lake-1.csv",
         "town/lake-2.csv", "town/sites.csv", "town/roster.csv", "town/roster-later.csv",
         "town/plan.csv", "town/service.csv")


def content(path):
    # Compressed bytes depend on the library; what they hold does not.
    with (gzip.open if path.endswith(".gz") else open)(path, "rb") as f:
        return f.read()


def main(_program, folder, _seed):
    town = Town(2, 54, 46)
    town.write(folder)
    for name in FILES:
        assert content(f"{folder}/{name}") == content(f"{SAMPLES}/{name}"), \
            f"samples/{name} is not what tests/sim/town.py writes"
    with open(f"{SAMPLES}/README.md", encoding="utf-8") as f:
        story = set(re.findall(r"\b\d{4}\b", f.read()))
    for row in town.truths + town.quiets:
        assert row[0] == "*" or row[0] in story, f"samples/README.md says nothing of {row[0]}"


cases(main)
