#!/usr/bin/env python3
"""Thins the simulator's streams for these tests. Arguments: folder of the streams, this folder.
Standard library only."""
import csv, sys

source, target = sys.argv[1], sys.argv[2]

# A touring car at 25 Hz: two whole laps and a little around them, pedals kept as truth.
KEEP = "t_s,x_m,y_m,speed_mps,throttle,brake,lap,dist_from_start".split(",")
with open(f"{source}/s5_touring.base.csv") as f, open(f"{target}/s5_touring.25hz.csv", "w") as out:
    out.write(",".join(KEEP) + "\n")
    for i, row in enumerate(csv.DictReader(f)):
        if i % 2 == 0 and 495.0 < float(row["t_s"]) < 748.0:
            out.write(",".join(row[k] for k in KEEP) + "\n")

# A good receiver: every second epoch of the first 205 s, in three forms.
with open(f"{source}/gnss/s1_good25.timing.csv") as f:
    epochs = [r for r in csv.DictReader(f)]
epochs = [r for r in epochs if float(r["t_s"]) < float(epochs[0]["t_s"]) + 205.0][::2]
with open(f"{source}/gnss/s1_good25.nmea", "rb") as f:
    text = f.read()
with open(f"{target}/s1_good12.nmea", "wb") as out:
    for r in epochs:
        at = int(r["nmea_offset"])
        out.write(text[at : text.index(b"\n", at) + 1])
with open(f"{source}/gnss/s1_good25.ubx", "rb") as f:
    raw = f.read()
with open(f"{target}/s1_good12.ubx", "wb") as out:
    for r in epochs:
        at = int(r["ubx_offset"])
        out.write(raw[at : at + 8 + raw[at + 4] + 256 * raw[at + 5]])
with open(f"{target}/s1_good12.clean.csv", "w") as out:
    out.write("t_s,x_m,y_m,speed_mps\n")
    for r in epochs:
        out.write(",".join(r[k] for k in ("t_s", "true_x_m", "true_y_m", "true_speed_mps")) + "\n")
