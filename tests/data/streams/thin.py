"""Thins driving-simulator streams (50 Hz, three or more laps) to the files beside this script.

usage: thin.py FOLDER-OF-THE-FULL-STREAMS"""
import csv
import math
import sys
from pathlib import Path

KEEP = ("t_s", "x_m", "y_m", "speed_mps", "course_rad", "lap", "dist_from_start")


def rows(name):
    with open(Path(sys.argv[1]) / name) as f:
        return list(csv.DictReader(f))


def thinned(source, target, every, begin_s=None, end_s=None):
    """Every n-th row between two times, columns as above."""
    with open(target, "w") as f:
        f.write(",".join(KEEP) + "\n")
        for i, r in enumerate(rows(source)):
            t = float(r["t_s"])
            if i % every == 0 and (begin_s is None or begin_s <= t <= end_s):
                f.write(",".join(r[k] for k in KEEP) + "\n")


def line(source, target, lap, apart_m):
    """The path of one lap, points some metres apart."""
    last = None
    with open(target, "w") as f:
        f.write("x_m,y_m\n")
        for r in rows(source):
            p = (float(r["x_m"]), float(r["y_m"]))
            if int(r["lap"]) == lap and (last is None or math.dist(p, last) >= apart_m):
                f.write(f"{p[0]:.3f},{p[1]:.3f}\n")
                last = p


thinned("s2_gt.base.csv", "s2_gt.base.10hz.csv", 5)
thinned("s6_gt.base.csv", "s6_gt.base.10hz.csv", 5, 516.0, 806.0)
thinned("s7_touring_firstlaps.csv", "s7_touring_firstlaps.5hz.csv", 10)
line("s1_gt.base.csv", "s1_gt.line.csv", 6, 8.0)
