"""Reference values of logistic fits, by SciPy: python3 logistic_values.py > logistic_values.csv

Each row: name, trials as x:hits/of separated by spaces, then intercept, slope, their standard
errors, log-likelihood, place of even chance and its standard error (delta method). The likelihood
is maximised by BFGS and polished by Newton's steps on exact derivatives; errors come from the
inverse of the information matrix. SciPy 1.17, NumPy 2.4.
"""
import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, log_expit

LAUNCHES = (
    [53, 56, 57, 63, 66, 67, 67, 67, 68, 69, 70, 70, 70, 70, 72, 73, 75, 75, 76, 76, 78, 79, 80, 81],
    [1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0],
)
FLIGHTS = (
    [66, 70, 69, 68, 67, 72, 73, 70, 57, 63, 70, 78, 67, 53, 67, 75, 70, 81, 76, 79, 75, 76, 58],
    [0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1],
)


def fit(x, hits, of):
    x, hits, of = (np.asarray(v, float) for v in (x, hits, of))
    design = np.column_stack([np.ones_like(x), x])
    mid, sd = x.mean(), x.std()
    scaled = np.column_stack([np.ones_like(x), (x - mid) / sd])

    def cost(b):
        l = scaled @ b
        return -(hits * log_expit(l) + (of - hits) * log_expit(-l)).sum()

    b = minimize(cost, np.zeros(2), method="BFGS").x
    for _ in range(20):
        p = expit(scaled @ b)
        info = scaled.T @ (scaled * (of * p * (1 - p))[:, None])
        b = b + np.linalg.solve(info, scaled.T @ (hits - of * p))
    beta = np.array([b[0] - b[1] * mid / sd, b[1] / sd])
    p = expit(design @ beta)
    cov = np.linalg.inv(design.T @ (design * (of * p * (1 - p))[:, None]))
    even = -beta[0] / beta[1]
    g = np.array([-1 / beta[1], beta[0] / beta[1] ** 2])
    return [*beta, *np.sqrt(np.diag(cov)), -cost(b), even, np.sqrt(g @ cov @ g)]


def cases():
    yield "24 launches", LAUNCHES[0], LAUNCHES[1], [1] * 24
    yield "23 flights", FLIGHTS[0], FLIGHTS[1], [1] * 23
    rng = np.random.default_rng(5)
    for k in range(6):
        stops = np.arange(4, 12) + 0.0
        of = rng.integers(3, 60, stops.size)
        hits = rng.binomial(of, expit(1.4 * (stops - 6.5 - 0.4 * k)))
        yield f"shutter {k}", stops, hits, of


for name, x, hits, of in cases():
    trials = " ".join(f"{a:g}:{b}/{c}" for a, b, c in zip(x, hits, of))
    print(name, trials, *(f"{v:.12g}" for v in fit(x, hits, of)), sep=",")
