#!/usr/bin/env python3
"""Asks the cut calculator random questions and holds each answer against another exact solver.

    python check_cuts.py PROGRAM [--count 1000] [--seconds S] [--size small|medium|large|lengths|mixed] [--from SEED]

PROGRAM is the built tapewright. Every answer is checked from its segments alone; whatever it calls
proven must be what the other solver finds (OR-tools CP-SAT, single thread, whole numbers only), and
what it gives as a bound must not be above that. The last line counts; one mismatch fails.
"""

import argparse
import json
import subprocess
import sys
import time

import ortools

from exact import solve
from question import flaws, question


def ask(program, asked):
    ran = subprocess.run(
        [*program.split(), "calc", "cuts", "-"], input=json.dumps(asked), capture_output=True, text=True
    )
    if ran.returncode:
        raise SystemExit(f"the calculator refused or failed: {ran.stderr}\n{json.dumps(asked)}")
    return json.loads(ran.stdout)


def differences(said, best):
    """Where an answer and the other solver's disagree, and how many levels were compared."""
    rest, proven = said["rest"], said["proven"]
    ours = {
        "short": sum(short["quantity"] for short in said["short"]),
        "money": said["purchase_minor"],
        "solder": said["solder_work"],
        **{level: rest[level] for level in ("offcuts", "squared")},
        "scrap": rest["scrap_units"],
    }
    claims = {
        "short": proven["money"],
        "money": proven["money"],
        "solder": proven["solder"],
        "scrap": proven["rest"],
        "offcuts": proven["rest"],
        "squared": proven["rest"],
    }
    found, compared = [], 0
    equal = True
    for level, least in best.items():
        if claims[level]:
            compared += 1
            if ours[level] != least:
                found.append(f"{level} is called proven at {ours[level]}, but {least} is the best")
        better = ours[level] > least if level == "squared" else ours[level] < least
        if equal and better:
            found.append(f"{level} is {ours[level]}, better than the proven best {least}")
        for field, of in (("purchase_bound_minor", "money"), ("solder_bound", "solder")):
            if level == of and equal and said[field] is not None and said[field] > least:
                found.append(f"{field} is {said[field]}, above {least}")
        equal = equal and ours[level] == least
    return found, compared


def main():
    reads = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    reads.add_argument("program")
    reads.add_argument("--count", type=int, default=1000)
    reads.add_argument("--seconds", type=float, default=float("inf"), help="stop asking after so long")
    reads.add_argument("--each", type=float, default=20.0, help="seconds for a level of the other solver")
    reads.add_argument("--size", default="mixed")
    reads.add_argument("--from", type=int, default=1, dest="first")
    reads.add_argument("--limit", type=int, default=2000, help="time_limit_ms of the calculator")
    asked_for = reads.parse_args()
    print(f"OR-tools {ortools.__version__}, seeds from {asked_for.first}, size {asked_for.size}")
    begun = time.monotonic()
    bad = asked_count = unsure = compared = 0
    proven = {"money": 0, "solder": 0, "rest": 0}
    for seed in range(asked_for.first, asked_for.first + asked_for.count):
        if time.monotonic() - begun > asked_for.seconds:
            break
        size = asked_for.size
        if size == "mixed":
            size = ("small", "lengths", "medium")[seed % 3]
        asked = question(seed, size)
        asked["time_limit_ms"] = asked_for.limit
        said = ask(asked_for.program, asked)
        found = flaws(asked, said)
        best = solve(asked, asked_for.each)
        more, levels = differences(said, best)
        compared += levels
        asked_count += 1
        unsure += len(best) < 6
        for level in proven:
            proven[level] += bool(said["proven"][level])
        if found + more:
            bad += 1
            print(f"seed {seed} ({size}): " + "; ".join(found + more))
            print(json.dumps(asked))
    share = ", ".join(f"{level} {count / max(asked_count, 1):.1%}" for level, count in proven.items())
    print(
        f"{asked_count} questions, {compared} proven levels compared, {unsure} where the other solver "
        f"gave up; proven: {share}; {time.monotonic() - begun:.0f} s"
    )
    print(f"{asked_count - bad} passed, {bad} failed")
    sys.exit(bad > 0 or asked_count == 0)


if __name__ == "__main__":
    main()
