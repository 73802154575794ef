#!/usr/bin/env python3
"""Fits sharpness::blur_correction to simulated tiles of known blur and writes its table of numbers.

    cargo bench --bench accuracy -- tiles 100 1 > tiles.csv
    python3 benches/fit_blur.py tiles.csv > src/sharpness/blur_correction_table.rs

Least absolute error of ln(blur), every kind of scene, blur and noise weighing the same; terms whose
loss costs least are dropped first. Needs NumPy.
"""
import sys

import numpy as np

OWN = "1 s ss sss w ww ws q qq qs qw e es n ns nn nw nq".split()
PAIR = "o r rr rs w q qr n nr".split()
KEPT = (16, 18, 14)
RANGE_PX = (0.5, 8.5)
COVERED = 0.70


def load(path):
    rows = np.genfromtxt(path, delimiter=",", skip_header=1)
    head = dict(zip(("kind", "seed", "true", "noise"), rows[:, :4].T))
    levels = []
    for level in range(3):
        part = rows[:, 4 + 5 * level : 9 + 5 * level]
        ok = np.isfinite(part[:, 0])
        part = np.where(ok[:, None], part, 0.0)
        part[~ok, 2] = 1.0
        levels.append((ok, *part.T))
    return head, levels


def beside(level):
    return [k for k in (level - 1, level + 1) if 0 <= k <= 2]


def terms(levels, level):
    ok, s, w, q, e, n = levels[level]
    one = np.ones_like(s)
    columns = [one, s, s * s, s**3, w, w * w, w * s, q, q * q, q * s, q * w, e, e * s, n, n * s]
    columns += [n * n, n * w, n * q]
    for k in beside(level):
        ok2, s2, w2, q2, _, n2 = levels[k]
        r = np.clip(s2 - s, -2, 2)
        columns += [c * ok2 for c in (one, r, r * r, r * s, w2, q2, q2 * r, n2, n2 * r)]
    return np.array(columns).T


def error_terms(levels, level, predicted):
    ok, s, w, q, e, n = levels[level]
    p = np.clip(predicted, -1.1, 2.4)
    one = np.ones_like(s)
    columns = [one, p, p * p, np.log(q), np.log(q) * p, w, np.abs(w), n, np.log(e + 0.02)]
    for k in beside(level):
        ok2, s2 = levels[k][:2]
        r = np.clip(s2 - s, -2, 2)
        columns += [c * ok2 for c in (one, np.abs(r), r)]
    return np.array(columns).T


def cell_weights(head, use):
    blur = np.floor(np.log(head["true"][use] / 0.45) / 0.2)
    key = head["kind"][use] * 1e4 + blur * 100 + head["noise"][use]
    _, index, count = np.unique(key, return_inverse=True, return_counts=True)
    weight = 1.0 / count[index]
    return weight / weight.mean()


def least_absolute(a, y, weight, rounds=40, floor=0.01):
    b = np.linalg.lstsq(a * np.sqrt(weight)[:, None], y * np.sqrt(weight), rcond=None)[0]
    for _ in range(rounds):
        q = weight / np.maximum(np.abs(y - a @ b), floor)
        b = np.linalg.solve((a * q[:, None]).T @ a + 1e-9 * np.eye(a.shape[1]), (a * q[:, None]).T @ y)
    return b


def drop_terms(a, y, weight, kept):
    pick = np.random.default_rng(0).choice(len(y), min(len(y), 15000), replace=False)
    a, y, weight = a[pick], y[pick], weight[pick]
    keep = list(range(a.shape[1]))
    while len(keep) > kept:
        part = a[:, keep]
        b = least_absolute(part, y, weight, 15)
        q = weight / np.maximum(np.abs(y - part @ b), 0.03)
        inverse = np.linalg.inv((part * q[:, None]).T @ part + 1e-9 * np.eye(len(keep)))
        cost = b**2 / np.diag(inverse)
        cost[0] = np.inf
        keep.pop(int(np.argmin(cost)))
    return keep


def fit(head, levels):
    model = []
    for level in range(3):
        use = levels[level][0] & (head["true"] > RANGE_PX[0]) & (head["true"] < RANGE_PX[1])
        a, y, weight = terms(levels, level), np.log(head["true"]), cell_weights(head, use)
        keep = drop_terms(a[use], y[use], weight, KEPT[level])
        b = np.zeros(a.shape[1])
        b[keep] = least_absolute(a[use][:, keep], y[use], weight)
        predicted = a @ b
        residual = np.abs(y - predicted)[use]
        errors = error_terms(levels, level, predicted)[use]
        e = least_absolute(errors, np.log(np.maximum(residual, 0.01)), weight)
        ratio = residual / np.exp(errors @ e)
        order = np.argsort(ratio)
        share = np.cumsum(weight[order]) / weight.sum()
        model.append((b, e, ratio[order][np.searchsorted(share, COVERED)]))
    return model


def rust(values):
    return "[" + ", ".join(f"{v:.5f}".rstrip("0") + ("0" if float(f"{v:.5f}") == round(v) else "") for v in values) + "]"


def pairs(values, level, width):
    blocks = {k: values[i * width : (i + 1) * width] for i, k in enumerate(beside(level))}
    return "[" + ", ".join(rust(blocks.get(k, np.zeros(width))) for k in (level - 1, level + 1)) + "]"


def main():
    head, levels = load(sys.argv[1])
    model = fit(head, levels)
    print("//! Fitted numbers of [`super::blur_correction`], written by `benches/fit_blur.py`.")
    print()
    print("/// Terms of one level's own readings.")
    print("pub(super) const OWN_TERMS: usize = 18;")
    print("/// Terms of a neighbouring level.")
    print("pub(super) const PAIR_TERMS: usize = 9;")
    print("/// Terms of the error, of the level's own.")
    print("pub(super) const ERROR_OWN_TERMS: usize = 9;")
    print("/// Terms of the error, of a neighbouring level.")
    print("pub(super) const ERROR_PAIR_TERMS: usize = 3;")
    print()
    print("/// ln(blur) from a level's own readings.")
    print(f"pub(super) const OWN: [[f64; OWN_TERMS]; 3] = [{', '.join(rust(b[:18]) for b, _, _ in model)}];")
    print("/// What the level below and the one above add to it.")
    print(f"pub(super) const PAIR: [[[f64; PAIR_TERMS]; 2]; 3] = [{', '.join(pairs(b[18:], l, 9) for l, (b, _, _) in enumerate(model))}];")
    print("/// ln of the error from a level's own readings.")
    print(f"pub(super) const ERROR_OWN: [[f64; ERROR_OWN_TERMS]; 3] = [{', '.join(rust(e[:9]) for _, e, _ in model)}];")
    print("/// What the level below and the one above add to it.")
    print(f"pub(super) const ERROR_PAIR: [[[f64; ERROR_PAIR_TERMS]; 2]; 3] = [{', '.join(pairs(e[9:], l, 3) for l, (_, e, _) in enumerate(model))}];")
    print("/// Makes the error one within which seven tiles of ten lie.")
    print(f"pub(super) const ERROR_SCALE: [f64; 3] = {rust([s for _, _, s in model])};")


if __name__ == "__main__":
    main()
