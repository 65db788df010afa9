#!/usr/bin/env python3
"""Makes NAME.expected.csv of each NAME.log from what gpsd made of it: expected.py FOLDER_OF_CHK_FILES

gpsd's regression tests keep, beside each log, the reports of its daemon (NAME.log.chk). Of these, the
distinct epochs with a fix are kept: UTC time, latitude and longitude of the first report of each epoch.
Speeds are left out: gpsd makes its own from position steps where a sentence has none."""
import glob, json, os, sys

for name in sorted(glob.glob(os.path.join(os.path.dirname(sys.argv[0]), '*.log'))):
    chk = os.path.join(sys.argv[1], os.path.basename(name) + '.chk')
    epochs = {}
    for line in open(chk, errors='replace'):
        at = line.find('{"class":"TPV"')
        report = json.loads(line[at:]) if at >= 0 else {}
        if report.get('mode', 0) >= 2 and 'lat' in report and 'time' in report:
            epochs.setdefault(report['time'], (report['lat'], report['lon']))
    with open(name[:-4] + '.expected.csv', 'w') as out:
        out.write('utc,lat_deg,lon_deg\n')
        for utc, (lat, lon) in epochs.items():
            out.write(f'{utc},{lat:.9f},{lon:.9f}\n')
