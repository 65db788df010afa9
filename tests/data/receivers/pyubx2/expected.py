#!/usr/bin/env python3
"""Makes expected.csv: the NAV-PVT and HNR-PVT that pyubx2 1.4.0 reads from the logs beside this file."""
import glob, os
from pyubx2 import UBXReader, ERR_IGNORE, UBX_PROTOCOL

here = os.path.dirname(os.path.abspath(__file__))
with open(os.path.join(here, 'expected.csv'), 'w') as out:
    out.write('file,second_of_day,nano,fix_type,fix_ok,lat_deg,lon_deg,speed_mmps\n')
    for name in sorted(glob.glob(os.path.join(here, '*.log'))):
        with open(name, 'rb') as log:
            reader = UBXReader(log, protfilter=UBX_PROTOCOL, quitonerror=ERR_IGNORE)
            for _, message in reader:
                if message is None or message.identity not in ('NAV-PVT', 'HNR-PVT') or not hasattr(message, 'lat'):
                    continue
                fix_type = message.fixType if hasattr(message, 'fixType') else message.gpsFix
                fix_ok = next(getattr(message, name) for name in ('gnssFixOk', 'GPSfixOK', 'gpsFixOk') if hasattr(message, name))
                out.write(f'{os.path.basename(name)[:-4]},{message.hour * 3600 + message.min * 60 + message.second},'
                          f'{message.nano},{fix_type},{fix_ok},{message.lat:.7f},{message.lon:.7f},{message.gSpeed}\n')
