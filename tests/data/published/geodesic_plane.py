"""Makes geodesic_plane.csv: points at a true distance and bearing from an origin.

GeographicLib (PyPI geographiclib 2.1) solves the direct geodesic problem on WGS 84; the point's
plane coordinates are those of the geodesic: east = s sin(azimuth), north = s cos(azimuth)."""
import math
from geographiclib.geodesic import Geodesic

print("lat0_deg,lon0_deg,lat_deg,lon_deg,east_m,north_m")
for lat0, lon0 in ((0.0, 0.25), (45.5, 9.5), (-33.25, 151.5), (52.0, -1.0), (60.0, 24.0), (-16.75, 179.9998)):
    for s in (100.0, 1000.0, 2500.0, 5000.0):
        for azimuth in (0, 45, 90, 137, 180, 225, 270, 331):
            d = Geodesic.WGS84.Direct(lat0, lon0, azimuth, s)
            a = math.radians(azimuth)
            print(f"{lat0},{lon0},{d['lat2']:.7f},{d['lon2']:.7f},{s * math.sin(a):.4f},{s * math.cos(a):.4f}")
