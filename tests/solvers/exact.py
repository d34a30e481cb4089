"""The same question as a flow through positions, for a solver that shares nothing with ours.

A piece is a path through its positions: bars and gaps are arcs. Two layers keep gaps from following
each other: 'cut' is reached by a bar (saw cut included), 'gap' by a gap. Pieces alike share a flow.
The objectives are minimised one after the other, each held at its least while the next is.
"""

from collections import Counter

from ortools.sat.python import cp_model

LEVELS = ("short", "money", "solder", "scrap", "offcuts", "squared")


def rest_cost(length, usable):
    if length <= 0:
        return (0, 0, 0)
    return (0, 1, -length * length) if length >= usable else (length, 0, 0)


def arcs_of(asked, source):
    """Arcs (from, to, bar or None, solder, rest); nodes are (layer, position); the end is 'end'."""
    kerf, trim = asked.get("kerf_units", 0), asked.get("end_trim_units", 0)
    usable, weights = asked["usable_offcut_units"], asked["solder_weights"]
    length = source["units"] - 2 * trim
    every = source.get("joint_every_units")

    def weight(at):
        if at == 0 and source["start"] == "lead" or at == length and source["end"] == "lead":
            return weights["lead"]
        if every and (at + trim - source.get("joint_offset_units", 0)) % every == 0:
            return weights["joint"]
        return weights["mark"]

    arcs = []
    # Where nothing but cut marks is, gaps between bars are of no use.
    gaps = every or source["end"] == "lead"
    reached, todo = {("cut", 0)}, [("cut", 0)]
    while todo:
        node = todo.pop()
        layer, at = node
        out = []
        for number, bar in enumerate(asked["bars"]):
            end = at + bar["units"]
            if end <= length:
                a, b = weight(at), weight(end)
                solder = min(a, b) if bar["fed"] == "one_end" else a + b
                out.append((node, ("cut", end + kerf), number, solder, (0, 0, 0)))
        if layer == "cut" and gaps:
            for gap in range(1, length - at):
                out.append((node, ("gap", at + gap), None, 0, rest_cost(gap - kerf, usable)))
        if layer == "cut" and at > 0:
            out.append((node, "end", None, 0, rest_cost(length - at, usable)))
        for arc in out:
            to = arc[1]
            if to != "end" and to not in reached:
                reached.add(to)
                todo.append(to)
        arcs += out
    # Arcs that lead nowhere are left out.
    into = {}
    for arc in arcs:
        into.setdefault(arc[1], []).append(arc)
    alive, todo = {"end"}, ["end"]
    while todo:
        for arc in into.get(todo.pop(), []):
            if arc[0] not in alive:
                alive.add(arc[0])
                todo.append(arc[0])
    return [arc for arc in arcs if arc[1] in alive]


def sources_of(asked):
    """Pieces and rolls, alike ones together: (source, how many at most)."""
    bars = sum(bar["quantity"] for bar in asked["bars"])
    alike, kept = Counter(), {}
    for one in asked["pieces"]:
        key = tuple(sorted((k, v) for k, v in one.items() if k != "name"))
        alike[key] += 1
        kept[key] = one
    made = [(kept[key], count, False) for key, count in alike.items()]
    return made + [(roll, min(roll.get("quantity", bars), bars), True) for roll in asked["rolls"]]


def model_of(asked):
    model = cp_model.CpModel()
    costs = {level: [] for level in LEVELS}
    served = [[] for _ in asked["bars"]]
    whole = sum(one["units"] ** 2 for one in asked["pieces"])
    for source, count, bought in sources_of(asked):
        arcs = arcs_of(asked, source)
        if not arcs or not count:
            continue
        balance, taken = {}, []
        for start, to, bar, solder, rest in arcs:
            most = min(asked["bars"][bar]["quantity"], 10**6) if bar is not None else count
            flow = model.new_int_var(0, max(most, 0), "")
            balance.setdefault(start, []).append(-flow)
            balance.setdefault(to, []).append(flow)
            if bar is not None:
                served[bar].append(flow)
            if start == ("cut", 0):
                taken.append(flow)
            for level, cost in zip(("solder", "scrap", "offcuts", "squared"), (solder, *rest)):
                if cost:
                    costs[level].append(cost * flow)
        for node, terms in balance.items():
            if node not in ("end", ("cut", 0)):
                model.add(sum(terms) == 0)
        model.add(sum(taken) <= count)
        if bought:
            costs["money"].append(source["price_minor"] * sum(taken))
        else:
            costs["squared"].append(source["units"] ** 2 * sum(taken))
    for bar, flows in zip(asked["bars"], served):
        short = model.new_int_var(0, bar["quantity"], "")
        model.add(sum(flows) + short == bar["quantity"])
        costs["short"].append(short)
    return model, costs, whole


def solve(asked, seconds, threads=1):
    """The least value of each level in order, as far as proven within the time of each."""
    model, costs, whole = model_of(asked)
    found, hint = {}, None
    for level in LEVELS:
        total = sum(costs[level])
        if isinstance(total, int):
            value = total
        else:
            model.minimize(total)
            if hint:
                model.clear_hints()
                for index, number in enumerate(hint):
                    model.add_hint(model.get_int_var_from_proto_index(index), number)
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = threads
            solver.parameters.max_time_in_seconds = seconds
            if solver.solve(model) != cp_model.OPTIMAL:
                return found
            value = round(solver.objective_value)
            hint = list(solver.response_proto.solution)
            model.add(total <= value)
        found[level] = value if level != "squared" else whole - value
    return found
