"""Times `cuepost replay` against the notebook on the same recordings, in one run, and holds their
answers against each other.

    compare.py CUEPOST FOLDER LAPS...

FOLDER is made by `cuepost demo --out FOLDER`. Its driver's second and third lap are driven again and
again for as many laps as asked for. Both read the file from the page cache.
"""
import json
import resource
import subprocess
import sys
import time
from pathlib import Path
import numpy as np
import pandas as pd

HERE = Path(__file__).parent
# Both must agree to this in nine of ten passages. Each counts metres along a line of its own, which
# differ by some metres a lap, and the notebook dates onsets by a level of the acceleration; its
# corners begin where the reference is fastest, ours where the road to the corner does.
WITHIN = {"lap_s": 0.02, "slowest_mps": 0.25, "slowest_m": 6.0, "brake_m": 6.0, "throttle_m": 8.0,
          "loss_s": 0.06}


def recording(source, path, laps):
    """So many laps of a drive: from before the start line, two laps again and again."""
    lines = source.read_text().splitlines()
    table = np.array([[float(c) for c in line.split(",")[:3]] for line in lines[1:]])
    t, x, y = table.T
    starts = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0) & (np.abs(y[:-1]) < 30)) + 1
    rests = [line.split(",", 1)[1] for line in lines[1:]]
    head, (begin, end) = starts[0], (starts[1], starts[3])
    step = t[end] - t[begin]
    with path.open("w") as out:
        out.write(lines[0] + "\n")
        rows = [(t[i] - step, rests[i]) for i in range(head - 100, head)]
        block = list(zip(t[begin:end], rests[begin:end]))
        shift = t[head - 1] + 0.04 - t[begin] - step
        out.writelines(f"{at + step:.6f},{rest}\n" for at, rest in rows)
        done = 0
        while done < laps:
            at_s = shift + step + done // 2 * step
            part = block if laps - done >= 2 else block[: starts[2] - begin]
            out.writelines(f"{at + at_s:.6f},{rest}\n" for at, rest in part)
            done += 2
        # Over the line once more, or the last lap is not closed.
        last_s = at_s + (step if part is block else t[starts[2]] - t[begin])
        out.writelines(f"{at + last_s:.6f},{rest}\n" for at, rest in block[:750])
    return path.stat().st_size


def timed(words, out):
    """Seconds on the wall, and of processors: the load of the machine disturbs these less."""
    def used():
        of = resource.getrusage(resource.RUSAGE_CHILDREN)
        return of.ru_utime + of.ru_stime

    begin, used_before = time.perf_counter(), used()
    with open(out, "w") as sink:
        subprocess.run(words, stdout=sink, stderr=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begin, used() - used_before


def agreement(ours, theirs):
    """Differences of what both measured of the same passages."""
    lost = ours.set_index(["lap", "corner"]).loss_s
    ours = ours[ours.usable & ours.brake_m.notna() & ours.lap.isin(theirs.lap)]
    corner = theirs.groupby("corner").slowest_m.median()
    place = ours.groupby("corner").slowest_m.median()
    pairs = [(c, (corner - m).abs().idxmin()) for c, m in place.items()]
    named = dict((c, k) for c, k in pairs if abs(corner[k] - place[c]) < 30)
    assert len(named) >= 6, f"only {len(named)} corners found by both"
    # Corners that only we have, flat ones, lie within the notebook's corner before.
    begins = sorted(named)
    lost = lost[lost.index.get_level_values("corner") >= begins[0]].reset_index()
    lost["corner"] = [named[begins[k]] for k in np.searchsorted(begins, lost.corner, "right") - 1]
    ours = ours.assign(corner=ours.corner.map(named)).dropna(subset=["corner"]).drop(columns="loss_s")
    # None where one of them is not known.
    sums = lost.groupby(["lap", "corner"]).loss_s.agg(lambda s: s.sum(skipna=False)).reset_index()
    ours = ours.merge(sums, on=["lap", "corner"])
    both = ours.merge(theirs, on=["lap", "corner"], suffixes=("", "_nb"))
    assert len(both) >= 0.8 * len(ours), f"{len(both)} of {len(ours)} passages found by both"
    found = {}
    for name in ("brake_m", "throttle_m", "slowest_m", "slowest_mps", "loss_s"):
        apart = (both[name] - both[name + "_nb"]).abs().dropna()
        found[name] = (len(apart), apart.quantile(0.5), apart.quantile(0.9))
    return found


def main(program, folder, *laps):
    folder = Path(folder)
    coach, reference = folder / "coach.csv", folder / "quillmere.ref"
    print("| laps | bytes | samples | cuepost, s | notebook, s | ratio | of processors, s | s | ratio |")
    print("|---|---|---|---|---|---|---|---|---|")
    failed = []
    for count in map(int, laps):
        table = folder / f"{count}.csv"
        size = recording(folder / "driver.csv", table, count)
        ours, theirs = folder / "ours.csv", folder / "theirs.csv"
        replay = [program, "replay", table, "--reference", reference, "--format", "csv"]
        note = [sys.executable, HERE / "notebook.py", coach, table, theirs]
        turns = 5 if count <= 100 else 1
        pairs = [(timed(replay, ours), timed(note, folder / "note.txt")) for _ in range(turns)]
        # The least of each: the wall's first, the processors' second.
        (fast, fast_cpu), (slow, slow_cpu) = (map(min, zip(*times)) for times in zip(*pairs))
        samples = sum(1 for _ in table.open("rb")) - 1
        print(f"| {count} | {size} | {samples} | {fast:.3f} | {slow:.3f} | {slow / fast:.1f} "
              f"| {fast_cpu:.3f} | {slow_cpu:.3f} | {slow_cpu / fast_cpu:.1f} |", flush=True)
        facts, notes = pd.read_csv(ours), pd.read_csv(theirs)
        found = agreement(facts, notes)
        told = subprocess.run([program, "replay", table, "-r", reference, "--format", "jsonl"],
                              capture_output=True, text=True, check=True).stdout if count <= 100 else ""
        lines = [line for line in told.splitlines() if '"event":"lap"' in line]
        if lines:
            events = pd.DataFrame([json.loads(line) for line in lines])
            laps_s = notes.drop_duplicates("lap").set_index("lap").lap_s
            apart = (events.set_index("lap").time_s - laps_s).abs().dropna()
            found["lap_s"] = (len(apart), apart.quantile(0.5), apart.quantile(0.9))
        for name, (n, middle, most) in found.items():
            print(f"  {name}: {n} passages, apart by {middle:.3f} in the middle, {most:.3f} at 9 in 10")
            if not (n > 0 and most <= WITHIN[name]):
                failed.append(f"{name} of {count} laps")
        table.unlink()
    if failed:
        sys.exit("the answers are apart: " + ", ".join(failed))


main(*sys.argv[1:])
