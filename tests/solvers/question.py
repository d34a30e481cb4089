"""Random questions for the cut calculator, and a check of its answers from their segments alone."""

import random


def piece(rng, longest, name, joints=True):
    made = {
        "name": name,
        "units": rng.randint(max(2, longest // 5), longest),
        "start": rng.choice(["lead", "bare", "bare"]),
        "end": rng.choice(["lead", "bare", "bare"]),
    }
    if joints and rng.random() < 0.5:
        made["joint_every_units"] = rng.choice([2, 3, 4, 6, 9])
        made["joint_offset_units"] = rng.randint(0, 10)
    return made


def tape(rng, longest, pieces, rolls, lines, most):
    """A question as tape asks it: leads, joints with their phase, several rolls."""
    joints = rng.random() < 0.7
    few = rng.random() < 0.5
    asked = {
        "unit_um": 50_000,
        "pieces": [piece(rng, longest, f"P{i}", joints) for i in range(rng.randint(0, pieces))],
        "rolls": [],
        "bars": [],
        "usable_offcut_units": rng.randint(0, max(1, longest // 4)),
        "solder_weights": rng.choice(
            [
                {"lead": 0, "joint": 1, "mark": 2},
                {"lead": 0, "joint": 1, "mark": 2},
                {"lead": 0, "joint": 1, "mark": 5},
                {"lead": 1, "joint": 1, "mark": 3},
                {"lead": 0, "joint": 2, "mark": 2},
                {"lead": 0, "joint": 0, "mark": 0},
            ]
        ),
    }
    for i in range(rng.randint(0 if asked["pieces"] else 1, rolls)):
        roll = piece(rng, longest, f"R{i}", joints)
        roll["units"] = max(roll["units"], longest // 2)
        roll["price_minor"] = rng.choice([rng.randint(0, 9), rng.randint(100, 999), roll["units"] * 7])
        if few and rng.random() < 0.4:
            roll["quantity"] = rng.randint(0, 3)
        asked["rolls"].append(roll)
    for i in range(rng.randint(1, lines)):
        asked["bars"].append(
            {
                "name": f"B{i}",
                "units": rng.randint(2, max(3, longest * 2 // 3)),
                "quantity": rng.randint(1, most),
                "fed": rng.choice(["one_end", "one_end", "both_ends"]),
            }
        )
    return asked


def profile(rng, longest, pieces, rolls, lines, most):
    """A question as profile asks it: a kerf, trimmed ends, nothing to solder."""
    asked = tape(rng, longest, pieces, rolls, lines, most)
    for one in asked["pieces"] + asked["rolls"]:
        one["start"] = one["end"] = "bare"
        one.pop("joint_every_units", None)
        one.pop("joint_offset_units", None)
    asked["solder_weights"] = {"lead": 0, "joint": 0, "mark": 0}
    asked["kerf_units"] = rng.randint(0, 3)
    asked["end_trim_units"] = rng.randint(0, 2)
    return asked


def lengths(rng, longest, pieces, bars):
    """Bars that nearly all differ in length, many pieces on hand, rolls of three lengths."""
    asked = tape(rng, longest, pieces, 1, 1, 1)
    joints = rng.random() < 0.5
    asked["pieces"] = [piece(rng, longest * 2 // 3, f"P{i}", joints) for i in range(rng.randint(0, pieces))]
    least = rng.randint(95, 105)
    asked["rolls"] = []
    for name, part in (("R1", 2), ("R2", 3), ("R3", 4)):
        roll = piece(rng, longest, name, joints)
        roll["units"] = longest * part // 4
        roll["price_minor"] = roll["units"] * least // 10 - rng.randint(0, 3 * part)
        if rng.random() < 0.2:
            roll["quantity"] = rng.randint(0, 4)
        asked["rolls"].append(roll)
    chosen = sorted(rng.choices(range(longest // 8, longest // 2), k=rng.randint(3, bars)))
    asked["bars"] = [
        {"name": f"B{i}", "units": units, "quantity": 1, "fed": rng.choice(["one_end", "one_end", "both_ends"])}
        for i, units in enumerate(chosen)
    ]
    return asked


def question(seed, size):
    """The question of a seed: the same on every machine."""
    rng = random.Random(f"{size} {seed}")
    if size == "lengths":
        return lengths(rng, *rng.choice([(30, 8, 10), (48, 10, 16), (80, 12, 20)]))
    sizes = {
        "small": (14, 3, 2, 3, 3),
        "medium": (40, 8, 3, 5, 4),
        "large": (60, 16, 3, 6, 8),
    }
    make = profile if rng.random() < 0.2 else tape
    return make(rng, *sizes[size])


def flaws(asked, said):
    """What is wrong with an answer, from its segments alone: a list of sentences."""
    found = []
    kerf, trim = asked.get("kerf_units", 0), asked.get("end_trim_units", 0)
    usable, weights = asked["usable_offcut_units"], asked["solder_weights"]
    sources = {
        (bought, one["name"]): one
        for bought, many in ((False, asked["pieces"]), (True, asked["rolls"]))
        for one in many
    }
    bars = {bar["name"]: bar for bar in asked["bars"]}
    used, made = {}, {name: 0 for name in bars}
    money = solder = scrap = offcuts = squared = 0
    for layout in said["layouts"]:
        key, count = (layout["bought"], layout["from"]), layout["count"]
        source = sources[key]
        used[key] = used.get(key, 0) + count
        money += count * source.get("price_minor", 0)
        every = source.get("joint_every_units")

        def weight(at):
            if at == 0 and source["start"] == "lead" or at == source["units"] and source["end"] == "lead":
                return "lead"
            if every and (at - source.get("joint_offset_units", 0)) % every == 0:
                return "joint"
            return "mark"

        at, last_rest = trim, False
        for number, segment in enumerate(layout["segments"]):
            start, end = segment["from_unit"], segment["to_unit"]
            gap = start - at
            if number == 0 and gap and not 0 <= gap <= kerf:
                found.append(f"{key}: begins at {start}")
            if number > 0 and not kerf <= gap <= 2 * kerf:
                found.append(f"{key}: a gap of {gap} before {start}")
            length = end - start
            if length <= 0:
                found.append(f"{key}: an empty segment at {start}")
            rest = "bar" not in segment
            if rest and last_rest:
                found.append(f"{key}: two rests beside each other at {start}")
            last_rest, at = rest, end
            if rest:
                if (length >= usable) != segment.get("offcut", False) or segment.get("scrap", False) == segment.get("offcut", False):
                    found.append(f"{key}: a rest of {length} is named wrongly")
                if segment.get("offcut"):
                    offcuts += count
                    squared += count * length * length
                else:
                    scrap += count * length
                continue
            bar = bars[segment["bar"]]
            made[segment["bar"]] += count
            if length != bar["units"]:
                found.append(f"{key}: {segment['bar']} is {length} long")
            ends = {"start": weight(start), "end": weight(end)}
            leads = sum(1 for name, on in ends.items() if on == "lead")
            wanted = 1 if bar["fed"] == "one_end" else 2
            # A feed that is not to be soldered comes from a lead that is there.
            if any(ends[end] == "lead" for end in segment["solder"]):
                found.append(f"{key}: {segment['bar']} is soldered at a lead")
            missing = wanted - len(segment["solder"])
            if missing < 0 or missing > leads:
                found.append(f"{key}: {segment['bar']} is fed wrongly")
            solder += count * (sum(weights[ends[end]] for end in segment["solder"]) + missing * weights["lead"])
        tail = source["units"] - trim - at
        if not 0 <= tail <= kerf:
            found.append(f"{key}: ends {tail} early")
        if all("bar" not in segment for segment in layout["segments"]):
            found.append(f"{key}: cut for nothing")
    for one in asked["pieces"]:
        if used.get((False, one["name"]), 0) > 1:
            found.append(f"{one['name']} is used twice")
        if (False, one["name"]) not in used:
            squared += one["units"] ** 2
    for roll in asked["rolls"]:
        count = used.get((True, roll["name"]), 0)
        if count > roll.get("quantity", count):
            found.append(f"too many of {roll['name']}")
        if count != sum(b["count"] for b in said["bought"] if b["roll"] == roll["name"]):
            found.append(f"bought of {roll['name']} is not what is cut")
    for short in said["short"]:
        made[short["bar"]] += short["quantity"]
    for name, bar in bars.items():
        if made[name] != bar["quantity"]:
            found.append(f"{made[name]} of {name}")
    for name, ours, theirs in (
        ("purchase_minor", said["purchase_minor"], money),
        ("solder_work", said["solder_work"], solder),
        ("scrap_units", said["rest"]["scrap_units"], scrap),
        ("offcuts", said["rest"]["offcuts"], offcuts),
        ("squared", said["rest"]["squared"], squared),
    ):
        if ours != theirs:
            found.append(f"{name} is said to be {ours}, the segments give {theirs}")
    return found
