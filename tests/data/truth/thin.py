#!/usr/bin/env python3
"""Thins the simulator's streams for these tests. Arguments: folder of the streams, this folder.

Every second row (25 Hz); of `s5` all laps, of the others two or three laps to learn from, the clean
lap and two with faults, and apart from them the other laps with faults, with positions to 0.1 m and
speeds to 0.01 m/s. Standard library only."""
import csv, sys

source, target = sys.argv[1], sys.argv[2]
KEEP = "t_s,x_m,y_m,speed_mps,throttle,brake".split(",")
BEFORE = 150  # rows of the lap before, so that the first lap has a beginning


def rows(name):
    with open(f"{source}/{name}.csv") as f:
        return list(csv.DictReader(f))


def number(text, decimals):
    return f"{float(text):.{decimals}f}".rstrip("0").rstrip(".") or "0"


def write(name, kept, coarse):
    decimals = {"x_m": 1, "y_m": 1, "speed_mps": 2, "throttle": 3, "brake": 3}
    with open(f"{target}/{name}", "w") as out:
        out.write(",".join(KEEP) + "\n")
        for row in kept:
            cell = lambda k: number(row[k], decimals[k]) if coarse and k in decimals else row[k]
            out.write(",".join(cell(k) for k in KEEP) + "\n")


def laps(all_rows, first, last):
    inside = [i for i, r in enumerate(all_rows) if first <= int(r["lap"]) <= last]
    return all_rows[max(0, inside[0] - BEFORE) : inside[-1] + BEFORE]


def truth(name, target_name, first, last):
    with open(f"{source}/{name}.truth.csv") as f, open(f"{target}/{target_name}", "w") as out:
        for i, line in enumerate(f):
            if i == 0 or first <= int(line.split(",")[0]) <= last:
                out.write(line)


write("s5_touring.var25.csv", rows("s5_touring.var")[::2], False)
for name, learned in [("s1_gt", 2), ("s2_gt", 2), ("s3_gt", 3), ("s4_raw", 2), ("s6_gt", 3)]:
    base, var = rows(f"{name}.base"), rows(f"{name}.var")
    last = max(int(r["lap"]) for r in base) - 1
    write(f"{name}.base25.csv", laps(base, last - learned + 1, last)[::2], True)
    write(f"{name}.var25.csv", laps(var, 3, 5)[::2], True)
    truth(name, f"{name}.truth.csv", 3, 5)
    end = max(int(r["lap"]) for r in var) - 1
    write(f"{name}.more25.csv", laps(var, 6, end)[::2], True)
    truth(name, f"{name}.more.truth.csv", 6, end)
