#!/usr/bin/env python3
"""Times the cut calculator against a general MIP solver on the same questions, one thread each.

    python compare_speed.py PROGRAM [--each 3] [--seconds 30] [--only CLASS]

PROGRAM is the built tapewright, asked for money alone. The other solver is HiGHS on the arc-flow
model of J. M. Valério de Carvalho (European Journal of Operational Research 141, 2002): positions
along a roll, bars in falling length, and one arc for each place where a bar may lie. Both run as
processes of their own; processor time is what the system charged to each, start and reading
included. Where both prove, the values must be equal: one mismatch fails.

Classes: sets as venues build them, and the bin packing classes of E. Falkenauer (Journal of
Heuristics 2, 1996): u, lengths 20 to 100 from rolls of 150; t, triplets that fill rolls of 1000.
"""

import argparse
import json
import math
import multiprocessing
import os
import queue
import random
import resource
import subprocess
import sys
import tempfile
import time


def piece(name, units, ends):
    return {"name": name, "units": units, "start": ends[0], "end": ends[1]}


def question(pieces, rolls, bars):
    return {
        "unit_um": 50_000,
        "pieces": pieces,
        "rolls": rolls,
        "bars": bars,
        "usable_offcut_units": 10,
        "solder_weights": {"lead": 0, "joint": 1, "mark": 2},
    }


def venue(rng, bars, lengths, pieces):
    """Bars of some lengths, offcuts on hand, rolls of three lengths."""
    chosen = sorted(rng.sample(range(8, 61), lengths))
    share = [bars // lengths + (at < bars % lengths) for at in range(lengths)]
    rolls = [(100, rng.randint(2300, 2700)), (200, rng.randint(4200, 5000)), (300, rng.randint(6000, 6900))]
    return question(
        [piece(f"O{at}", rng.randint(6, 95), ("lead" if rng.random() < 0.4 else "bare", "bare")) for at in range(pieces)],
        [{**piece(f"R{units}", units, ("lead", "lead")), "price_minor": price} for units, price in rolls],
        [
            {"name": f"B{units}", "units": units, "quantity": many, "fed": rng.choice(["one_end", "one_end", "both_ends"])}
            for units, many in zip(chosen, share)
        ],
    )


def one_length(roll, lengths):
    bars = [
        {"name": f"B{units}", "units": units, "quantity": lengths.count(units), "fed": "one_end"}
        for units in sorted(set(lengths))
    ]
    return question([], [{**piece("roll", roll, ("bare", "bare")), "price_minor": 1}], bars)


def uniform(rng, items):
    return one_length(150, [rng.randint(20, 100) for _ in range(items)])


def triplets(rng, items):
    lengths = []
    while len(lengths) < items:
        first = rng.randint(380, 490)
        second = rng.randint(250, (1000 - first) // 2 - 1)
        lengths += [first, second, 1000 - first - second]
    return one_length(1000, lengths)


CLASSES = {
    "venue8": lambda rng: venue(rng, 8, 3, 6),
    "venue60": lambda rng: venue(rng, 60, 6, 40),
    "venue300": lambda rng: venue(rng, 300, 10, 60),
    "venue500": lambda rng: venue(rng, 500, 12, 100),
    "u120": lambda rng: uniform(rng, 120),
    "u250": lambda rng: uniform(rng, 250),
    "u500": lambda rng: uniform(rng, 500),
    "u1000": lambda rng: uniform(rng, 1000),
    "t60": lambda rng: triplets(rng, 60),
    "t120": lambda rng: triplets(rng, 120),
    "t249": lambda rng: triplets(rng, 249),
    "t501": lambda rng: triplets(rng, 501),
}


def arcs_along(length, bars):
    """Arcs (from, to, bar) of a piece: bars in falling length, each from where longer ones may end."""
    arcs, reached = [], {0}
    for bar, (units, many) in sorted(enumerate(bars), key=lambda one: -one[1][0]):
        ends, made = set(reached), set()
        for _ in range(min(many, length // units)):
            more = {at for at in ends if at + units <= length and (at, bar) not in made}
            if not more:
                break
            made |= {(at, bar) for at in more}
            ends = {at + units for at in more}
        for at, _ in made:
            arcs.append((at, at + units, bar))
            reached.add(at + units)
    return arcs, sorted(reached)


def by_mip(asked, seconds):
    """The least money by HiGHS: (value or None, proven)."""
    import highspy
    import numpy

    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("time_limit", float(seconds))
    solver.setOptionValue("mip_rel_gap", 0.0)
    # Prices are whole numbers, so that a gap below one proves.
    solver.setOptionValue("mip_abs_gap", 0.999)
    bars = [(bar["units"], bar["quantity"]) for bar in asked["bars"]]
    inf = highspy.kHighsInf
    columns, rows = [], [(many, many) for _, many in bars]
    short = 1 + sum(roll["price_minor"] for roll in asked["rolls"]) * sum(many for _, many in bars)
    alike = {}
    for one in asked["pieces"]:
        alike[one["units"]] = alike.get(one["units"], 0) + 1
    sources = [(units, count, 0) for units, count in alike.items()]
    sources += [(roll["units"], inf, roll["price_minor"]) for roll in asked["rolls"]]
    for length, most, price in sources:
        arcs, nodes = arcs_along(length, bars)
        if not arcs:
            continue
        first = len(rows)
        row = {at: first + index for index, at in enumerate(nodes)}
        rows += [(0.0, 0.0)] * len(nodes)
        last = nodes[-1]
        for at, to, bar in arcs:
            columns.append((0.0, bars[bar][1], [(bar, 1.0), (row[at], -1.0), (row[to], 1.0)]))
        for at, to in zip(nodes[1:], nodes[2:]):
            columns.append((0.0, inf, [(row[at], -1.0), (row[to], 1.0)]))
        columns.append((price, most, [(row[0], 1.0), (row[last], -1.0)]))
    for bar, (_, many) in enumerate(bars):
        columns.append((short, many, [(bar, 1.0)]))
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(columns), len(rows)
    model.col_cost_ = numpy.array([cost for cost, _, _ in columns], dtype=float)
    model.col_lower_ = numpy.zeros(len(columns))
    model.col_upper_ = numpy.array([most for _, most, _ in columns], dtype=float)
    model.row_lower_ = numpy.array([low for low, _ in rows], dtype=float)
    model.row_upper_ = numpy.array([high for _, high in rows], dtype=float)
    starts, index, value = [0], [], []
    for _, _, entries in columns:
        index += [at for at, _ in entries]
        value += [many for _, many in entries]
        starts.append(len(index))
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = numpy.array(starts)
    model.a_matrix_.index_ = numpy.array(index)
    model.a_matrix_.value_ = numpy.array(value)
    model.integrality_ = [highspy.HighsVarType.kInteger] * len(columns)
    solver.passModel(model)
    solver.run()
    info = solver.getInfo()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    proven = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return (round(info.objective_function_value) if found else None), proven


def in_process(asked, seconds, back):
    begun = resource.getrusage(resource.RUSAGE_SELF)
    value, proven = by_mip(asked, seconds)
    ended = resource.getrusage(resource.RUSAGE_SELF)
    spent = ended.ru_utime - begun.ru_utime + ended.ru_stime - begun.ru_stime
    back.put((value, proven, spent, short_of(asked, value)))


def short_of(asked, value):
    """Bars short in a value of the model, in which each costs more than all rolls."""
    short = 1 + sum(roll["price_minor"] for roll in asked["rolls"]) * sum(bar["quantity"] for bar in asked["bars"])
    return None if value is None else divmod(value, short)


def mip(asked, seconds):
    back = multiprocessing.Queue()
    work = multiprocessing.Process(target=in_process, args=(asked, seconds, back))
    work.start()
    # It does not always look at its clock in time.
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    try:
        answer = back.get(timeout=2 * seconds)
    except queue.Empty:
        work.terminate()
        answer = None
    work.join()
    if answer is None:
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        answer = (None, False, after.ru_utime - before.ru_utime, None)
    return answer


def ours(program, asked, seconds):
    asked = {**asked, "objectives": ["money"], "time_limit_ms": min(20_000, int(seconds * 1000))}
    with tempfile.NamedTemporaryFile("w", suffix=".json") as file, tempfile.TemporaryFile("w+") as out:
        json.dump(asked, file)
        file.flush()
        work = subprocess.Popen([*program.split(), "calc", "cuts", file.name], stdout=out)
        _, status, used = os.wait4(work.pid, 0)
        if status:
            raise SystemExit("the calculator refused or failed")
        out.seek(0)
        said = json.load(out)
    short = sum(one["quantity"] for one in said["short"])
    spent = used.ru_utime + used.ru_stime
    return (short, said["purchase_minor"]), said["proven"]["money"], spent, used.ru_maxrss / 1024


def main():
    reads = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    reads.add_argument("program")
    reads.add_argument("--each", type=int, default=3, help="questions of each class")
    reads.add_argument("--seconds", type=float, default=30.0, help="the limit of either for one question")
    reads.add_argument("--only", default="", help="classes, with commas between")
    asked_for = reads.parse_args()
    import highspy

    print(f"HiGHS {highspy.Highs().version()}, limit {asked_for.seconds:g} s; processor seconds, medians")
    print(f"{'class':<10}{'asked':>6}{'proven':>8}{'seconds':>9}{'MB':>7}{'HiGHS':>8}{'seconds':>9}{'ratio':>8}")
    chosen = [name for name in CLASSES if not asked_for.only or name in asked_for.only.split(",")]
    bad, logs, totals = 0, [], [0, 0]
    for name in chosen:
        times, theirs, memory, proven, ratios = [], [], [], [0, 0], []
        for seed in range(asked_for.each):
            asked = CLASSES[name](random.Random(f"{name} {seed}"))
            value, sure, spent, megabytes = ours(asked_for.program, asked, asked_for.seconds)
            _, other_sure, other_spent, other = mip(asked, asked_for.seconds)
            proven[0] += bool(sure)
            proven[1] += bool(other_sure)
            if sure and other_sure and value != other or sure and other is not None and tuple(other) < value:
                bad += 1
                print(f"{name} {seed}: {value} is called proven, the other solver found {other}")
            times.append(spent)
            theirs.append(other_spent)
            memory.append(megabytes)
            ratios.append(math.log(max(other_spent, 1e-3) / max(spent, 1e-3)))
        logs += ratios
        totals = [totals[at] + proven[at] for at in (0, 1)]
        middle = lambda list_of: sorted(list_of)[len(list_of) // 2]
        print(
            f"{name:<10}{asked_for.each:>6}{proven[0]:>8}{middle(times):>9.3f}{max(memory):>7.0f}"
            f"{proven[1]:>8}{middle(theirs):>9.3f}{math.exp(sum(ratios) / len(ratios)):>8.1f}",
            flush=True,
        )
    print(
        f"proven: {totals[0]}, HiGHS {totals[1]} of {len(logs)}; processor time of HiGHS over ours, "
        f"geometric mean: {math.exp(sum(logs) / len(logs)):.1f}; {bad} mismatches"
    )
    sys.exit(bad > 0)


if __name__ == "__main__":
    main()
