#!/usr/bin/env python3
"""Thins the simulator's stream of faults for these tests. Arguments: folder of the streams, this
folder. Standard library only."""
import csv, sys

source, target = sys.argv[1], sys.argv[2]
KEEP = "t_s,x_m,y_m,speed_mps,throttle,brake".split(",")
with open(f"{source}/s5_touring.var.csv") as f, open(f"{target}/s5_touring.var25.csv", "w") as out:
    out.write(",".join(KEEP) + "\n")
    for i, row in enumerate(csv.DictReader(f)):
        if i % 2 == 0:
            out.write(",".join(row[k] for k in KEEP) + "\n")
