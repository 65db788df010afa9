"""What a coach who knows numpy would write for himself: a table of a drive and one of good laps in,
the facts of every passage of every corner out. Vectorised over all laps at once.

    notebook.py COACH.csv DRIVE.csv FACTS.csv

The tables have time_s, x_m, y_m, speed_mps at an even rate; the start line is at the origin, driven
over eastward.
"""
import sys
import numpy as np
import pandas as pd
from scipy.signal import find_peaks, savgol_filter
from scipy.spatial import cKDTree

BRAKES_MPS2 = -5.0
DRIVES_MPS2 = 0.3


def load(path):
    table = pd.read_csv(path, usecols=["time_s", "x_m", "y_m", "speed_mps"])
    return [table[c].to_numpy() for c in ("time_s", "x_m", "y_m", "speed_mps")]


def crossings(t, x, y):
    """Interpolated times of the start line, and the samples before them."""
    i = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0) & (np.abs(y[:-1]) < 30))
    share = -x[i] / (x[i + 1] - x[i])
    return t[i] + share * (t[i + 1] - t[i]), i


def reference(path):
    """The fastest of the coach's laps: a line of a point a metre, and the time at each."""
    t, x, y, v = load(path)
    at, i = crossings(t, x, y)
    best = int(np.argmin(np.diff(at)))
    lap = slice(i[best] + 1, i[best + 1] + 1)
    t, x, y, v = t[lap] - at[best], x[lap], y[lap], v[lap]
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))]) + x[0]
    length = s[-1] - x[-1]
    grid = np.arange(0.0, length, 1.0)
    wide = np.concatenate([[s[-1] - length], s, [s[0] + length]])

    def on(values, gain=0.0):
        return np.interp(grid, wide, np.concatenate([[values[-1] - gain], values, [values[0] + gain]]))

    lap_s = np.diff(at)[best]
    line = np.column_stack([on(x), on(y)])
    along = np.gradient(line, axis=0)
    along /= np.hypot(*along.T)[:, None]
    return line, along, length, savgol_filter(on(v), 15, 2), on(t, lap_s), lap_s


def corners(speed, length):
    """Slowest points, and the fastest between them, where a corner begins and ends."""
    slow, _ = find_peaks(-speed, prominence=2.0)
    fast = [int(np.argmax(speed[a:b])) + a for a, b in zip(slow[:-1], slow[1:])]
    round_ = np.concatenate([np.arange(slow[-1], len(speed)), np.arange(slow[0])])
    last = int(round_[np.argmax(speed[round_])])
    return slow.astype(float), np.array([last if last < slow[0] else last - length, *fast], float)


def first(keys, mask, values, count):
    """The first value of each key where the mask holds."""
    found = np.full(count, np.nan)
    key, at = np.unique(keys[mask], return_index=True)
    found[key] = values[mask][at]
    return found


def main(coach, drive, out):
    line, along, length, ref_speed, ref_t, ref_lap_s = reference(coach)
    slow, begin = corners(ref_speed, length)
    t, x, y, v = load(drive)
    at, _ = crossings(t, x, y)
    # Where on the line: the nearest of its points, then along its direction.
    place = np.column_stack([x, y])
    _, near = cKDTree(line).query(place)
    s = near + ((place - line[near]) * along[near]).sum(axis=1)
    lap = np.searchsorted(at, t, side="right")
    since = t - np.concatenate([[t[0]], at])[lap]
    s = np.where((s > 0.75 * length) & (since < 5) & (lap > 0), s - length, s)
    ends = np.concatenate([at, [np.inf]])[lap] - t
    s = np.where((s < 0.25 * length) & (ends < 5), s + length, s)
    total = np.maximum.accumulate(lap * length + s)
    accel = savgol_filter(v, 5, 1, deriv=1) / np.median(np.diff(t[:1000]))

    laps, count = len(at) - 1, len(slow)
    if laps < 1:
        sys.exit("no whole lap")
    numbers = np.arange(1, laps + 1)[:, None] * length
    edges = np.column_stack([numbers + begin, numbers[:, -1] + length + begin[0]])
    reached = np.interp(edges, total, t)
    taken = np.diff(reached, axis=1)
    wrapped = np.concatenate([begin, [length + begin[0]]])
    ref_reached = np.interp(wrapped % length, np.arange(len(ref_t)), ref_t)
    ref_reached += ref_lap_s * np.floor(wrapped / length)
    loss = taken - np.diff(ref_reached)

    # Every sample belongs to one passage: of a lap and a corner.
    passage = np.searchsorted(edges[:, :-1].ravel(), total, side="right") - 1
    inside = (passage >= 0) & (total < edges[-1, -1])
    keys = np.where(inside, passage, 0)
    progress = total - (keys // count + 1) * length
    entry = progress < slow[keys % count] + 15
    step = np.concatenate([[0.0], np.diff(accel)])
    gone = np.concatenate([[0.0], np.diff(total)])
    before = accel - step

    def onset(mask, level):
        share = np.where(step != 0, (accel - level) / np.where(step == 0, 1, step), 0)
        return first(keys, mask & inside, progress - share * gone, laps * count)

    brake = onset((accel < BRAKES_MPS2) & (before >= BRAKES_MPS2) & entry, BRAKES_MPS2)
    order = np.lexsort((v, keys))
    order = order[inside[order]]
    lead = np.flatnonzero(np.diff(keys[order], prepend=-1))
    slowest = np.full(laps * count, np.nan)
    slowest_at = np.full(laps * count, np.nan)
    slowest[keys[order[lead]]] = v[order[lead]]
    slowest_at[keys[order[lead]]] = progress[order[lead]]
    after = progress >= slowest_at[keys] - 3
    throttle = onset((accel > DRIVES_MPS2) & (before <= DRIVES_MPS2) & after, DRIVES_MPS2)

    pd.DataFrame({
        "lap": np.repeat(np.arange(1, laps + 1), count),
        "corner": np.tile(np.arange(1, count + 1), laps),
        "brake_m": brake,
        "slowest_m": slowest_at,
        "slowest_mps": slowest,
        "throttle_m": throttle,
        "loss_s": loss.ravel(),
        "lap_s": np.repeat(np.diff(at), count),
    }).to_csv(out, index=False, float_format="%.4f")


main(*sys.argv[1:])
