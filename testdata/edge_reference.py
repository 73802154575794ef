"""Reference values for the slanted edge, with NumPy and SciPy: `python3 testdata/edge_reference.py`.

Pictures are made as in the tests: 100 x 80 px, edge through the centre, 5 degrees from vertical,
0.2 to 0.8 linear, Gaussian edge, pixel box as the mean of 16 x 16 sub-samples. Expected MTF50 and
MTF10 along the row are roots of exp(-2 pi^2 s^2 f^2) sinc(f cos t) sinc(f sin t) by brentq, times
cos t. It also prints some pixels, so that a reader can see that both sides made the same picture.
"""

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

HEIGHT, WIDTH = 100, 80


def picture(sigma, box, degrees=5.0):
    t = np.deg2rad(degrees)
    n = 16 if box else 1
    sub = (np.arange(n) + 0.5) / n - 0.5
    x = (np.arange(WIDTH)[:, None] + sub[None, :]).ravel() - (WIDTH - 1) / 2
    y = (np.arange(HEIGHT)[:, None] + sub[None, :]).ravel() - (HEIGHT - 1) / 2
    d = x[None, :] * np.cos(t) + y[:, None] * np.sin(t)
    v = 0.2 + 0.6 * (ndtr(d / sigma) if sigma > 0 else (d > 0) + 0.5 * (d == 0))
    return v.reshape(HEIGHT, n, WIDTH, n).mean(axis=(1, 3))


def expected(sigma, box, level, degrees=5.0):
    t = np.deg2rad(degrees)

    def mtf(f):
        g = np.exp(-2 * (np.pi * sigma * f) ** 2)
        return g * (np.sinc(f * np.cos(t)) * np.sinc(f * np.sin(t)) if box else 1.0)

    return brentq(lambda f: mtf(f) - level, 1e-4, 0.999 / np.cos(t)) * np.cos(t)


if __name__ == "__main__":
    cases = [(0.5, 0), (1.0, 0), (2.0, 0), (0.5, 1), (0.7, 1), (1.0, 1), (1.5, 1), (2.0, 1), (3.0, 1), (0.0, 1)]
    for i, (s, b) in enumerate(cases):
        p = picture(s, b)
        px = ", ".join(f"{p[y, x]:.6f}" for y, x in [(10, 36), (50, 40), (77, 38)])
        print(f"F{i + 1}: ({s}, {'true' if b else 'false'}, {expected(s, b, .5):.5f}, {expected(s, b, .1):.5f}, [{px}]),")
    for a in (2, 3, 5, 8, 10, 15):
        print(f"B3 {a}: {expected(1.0, 1, .5, a):.5f}")
