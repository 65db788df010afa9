"""Lap of a point mass on given curvatures, computed by trajectory-planning-helpers 0.79.

Reads JSON from the standard input, a list of laps: curvature_pm at nodes that are step_m apart,
mu, drive_mps2, power_w, mass_kg, drag. Prints a JSON list of lap_s, slowest_mps, fastest_mps.

The package's own time is not used: it cancels where the speed is nearly constant. Node 0 must lie
where the car accelerates: the package does not brake across the seam for a bend that begins there.
"""
import json
import sys

import numpy as np
import trajectory_planning_helpers as tph

G = 9.81


def lap(c):
    # Exactly straight is an infinite radius, which it warns of.
    kappa = np.maximum(np.array(c["curvature_pm"]), 1e-9)
    lengths = np.full(kappa.size, c["step_m"])
    v = np.linspace(0.0, 120.0, 481)
    grip = np.full_like(v, c["mu"] * G)
    drive = np.minimum(c["drive_mps2"], c["power_w"] / c["mass_kg"] / np.maximum(v, 1.0))
    speed = tph.calc_vel_profile.calc_vel_profile(
        ax_max_machines=np.column_stack([v, drive]),
        kappa=kappa,
        el_lengths=lengths,
        closed=True,
        drag_coeff=c["drag"],
        m_veh=c["mass_kg"],
        ggv=np.column_stack([v, grip, grip]),
        v_max=115.0,
        dyn_model_exp=2.0,
    )
    after = np.roll(speed, -1)
    accel = (after**2 - speed**2) / (2.0 * lengths)
    most = c["mu"] * G + c["drag"] * speed.max() ** 2 / c["mass_kg"] + 1.0
    assert np.abs(accel).max() < most, f"beyond the tyres: {np.abs(accel).max()}"
    seconds = float(np.sum(2.0 * lengths / (speed + after)))
    return {"lap_s": seconds, "slowest_mps": float(speed.min()), "fastest_mps": float(speed.max())}


print(json.dumps([lap(c) for c in json.load(sys.stdin)]))
