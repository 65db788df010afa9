"""Makes limits_full.csv: how well the moment of a braking from full throttle can be known.

The foot leaves the throttle, which takes L off the slope of the speeds, and some time later it is on
the brake, which takes off A: v = v0 + g t - L r(t - tau1; T) - A r(t - tau2; T) + white noise, with a
ramp of length T each. v0, g, tau1, L, tau2 and A are not known, nor is anything farther than 0.5 s from
the middle of the brake's ramp; `known_ms` is with L known, as a car's full and coasting curves tell it.
With no time between the two they are one bend of L + A, and tau2 is its moment. Bound and window as in
limits.py: Cramer (1946) and Rao (1945), averaged over where between two samples the ramp falls."""
import numpy as np
from limits import HALF_S, r, share

L, T, SIGMA = 4.6, 0.2, 0.05


def bound_s(f, A, gap, known, phases=40):
    variances = []
    for phase in (np.arange(phases) + 0.5) / phases:
        t = (np.arange(-int(HALF_S * f) - 2, int(HALF_S * f) + 3) + phase) / f
        t = t[(t >= -HALF_S - 1e-9) & (t < HALF_S - 1e-9)]
        u = t + T / 2
        if gap == 0:
            rows = [(L + A) * share(u, T), np.ones_like(t), t] + ([] if known else [r(u, T)])
        else:
            rows = [A * share(u, T), np.ones_like(t), t, r(u, T), L * share(u + gap, T)]
            rows += [] if known else [r(u + gap, T)]
        J = np.column_stack(rows)
        variances.append(np.linalg.inv(J.T @ J)[0, 0] * SIGMA**2)
    return np.sqrt(np.mean(variances))


print("rate_hz,noise_mps,step_mps2,gap_s,bound_ms,known_ms")
for f in (10, 18, 25, 50, 100):
    for A in (3.0, 8.0):
        for gap in (0.0, 0.1, 0.2, 0.4):
            print(f"{f},{SIGMA},{A},{gap},{1e3 * bound_s(f, A, gap, False):.2f},{1e3 * bound_s(f, A, gap, True):.2f}")
