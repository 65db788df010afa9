"""Makes limits.csv: how well the moment a slope of speed changed can be known, and how soon it can
be known that it did.

Speeds v = v0 + g t + A r(t - tau; T) + noise at a rate f, with a ramp of length T; v0, g and A are
not known, nor is anything farther than 0.5 s from the middle of the ramp. The bound is that of
Cramer (1946) and Rao (1945): the square root of the inverse Fisher information of tau, averaged
over where between two samples the ramp falls. For T = 0 and white noise it is
sigma / |A| sqrt(8 / (f 0.5)). The model is the bent cable of Chiu, Lockhart and Routledge, J. Amer.
Statist. Assoc. 101 (2006) 542-553.

The limit of a delay at one false alarm in M samples is where the information against "nothing
happened" reaches ln M (Lorden, Ann. Math. Statist. 42 (1971) 1897-1908; from memory): with v0 and g
known, and with both fitted to the 0.5 s before.

Noise: white, or of first order with a correlation of rho from one sample to the next."""
import numpy as np

HALF_S, ALARM_S = 0.5, 3600.0


def r(u, T):
    return np.maximum(u, 0) if T == 0 else np.where(u < T, np.maximum(u, 0) ** 2 / (2 * T), u - T / 2)


def share(u, T):
    return (u > 0) * 1.0 if T == 0 else np.clip(u / T, 0, 1)


def covariance(n, sigma, rho):
    return sigma**2 * rho ** np.abs(np.subtract.outer(np.arange(n), np.arange(n)))


def bound_s(f, sigma, A, T, rho, phases=40):
    variances = []
    for phase in (np.arange(phases) + 0.5) / phases:
        t = (np.arange(-int(HALF_S * f) - 2, int(HALF_S * f) + 3) + phase) / f
        t = t[(t >= -HALF_S - 1e-9) & (t < HALF_S - 1e-9)]
        J = np.column_stack([-A * share(t + T / 2, T), r(t + T / 2, T), np.ones_like(t), t])
        variances.append(np.linalg.inv(J.T @ np.linalg.solve(covariance(t.size, sigma, rho), J))[0, 0])
    return np.sqrt(np.mean(variances))


def delay_s(f, sigma, A, T, rho, fitted, phases=20):
    need, delays = np.log(ALARM_S * f), []
    for phase in (np.arange(phases) + 0.5) / phases:
        for n in range(1, 4000):
            t = (np.arange(-round(HALF_S * f) if fitted else 0, n) + phase) / f
            R = covariance(t.size, sigma, rho)
            s = A * r(t, T)
            W = np.linalg.solve(R, np.column_stack([s, np.ones_like(t), t]))
            gain = s @ W[:, 0]
            if fitted:
                X = np.column_stack([np.ones_like(t), t])
                gain -= (s @ W[:, 1:]) @ np.linalg.solve(X.T @ W[:, 1:], W[:, 1:].T @ s)
            if gain / 2 >= need:
                delays.append(t[-1])
                break
    return np.mean(delays)


if __name__ == "__main__":
    print("rho,rate_hz,noise_mps,step_mps2,ramp_s,bound_ms,delay_ms,delay_fitted_ms")
    for rho in (0.0, 0.6):
        for f in (10, 18, 25, 50, 100):
            for sigma in (0.03, 0.05, 0.1):
                for A in (3.0, 8.0):
                    for T in (0.0, 0.2):
                        print(f"{rho},{f},{sigma},{A},{T},{1e3 * bound_s(f, sigma, A, T, rho):.3f},"
                              f"{1e3 * delay_s(f, sigma, A, T, rho, False):.2f},{1e3 * delay_s(f, sigma, A, T, rho, True):.2f}")
