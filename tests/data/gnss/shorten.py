#!/usr/bin/env python3
"""Shortens a receiver stream to its first epochs: shorten.py FROM/NAME EPOCHS TO/NAME

Cuts NAME.nmea, NAME.ubx and NAME.mixed at the byte offsets of NAME.timing.csv and keeps of that table
what the tests need."""
import csv, os, sys

source, epochs, target = sys.argv[1], int(sys.argv[2]), sys.argv[3]
rows = list(csv.DictReader(open(source + '.timing.csv')))
for kind in ('nmea', 'ubx', 'mixed'):
    if os.path.exists(f'{source}.{kind}'):
        data = open(f'{source}.{kind}', 'rb').read()
        open(f'{target}.{kind}', 'wb').write(data[:int(rows[epochs][f'{kind}_offset'])])
keep = ['epoch', 'fix_ok', 'dup', 'corrupt', 'err_e_m', 'err_n_m', 'true_x_m', 'true_y_m', 'true_speed_mps']
with open(target + '.timing.csv', 'w') as out:
    out.write(','.join(keep) + '\n')
    for row in rows[:epochs]:
        out.write(','.join(row[name] for name in keep) + '\n')
