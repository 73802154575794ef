"""Recomputes the image table of tests/all/image_table.rs.

Needs numpy, scipy and Pillow. Run inside testdata/; prints one line per picture and condition:
Laplacian variance (interior), Laplacian variance (reflect-101), Tenengrad, modified Laplacian,
Brenner, Immerkaer sigma.
"""

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

PICTURES = ["brick", "chelsea_green", "gravel"]
CONDITIONS = {
    "orig": (0, 0), "G1": (1, 0), "G2": (2, 0), "G3": (3, 0),
    "N5": (0, 5), "N10": (0, 10), "G2N5": (2, 5),
}
MASK = (1 << 64) - 1


def splitmix64(seed, n):
    state, out = seed, np.empty(n)
    for i in range(n):
        state = (state + 0x9E3779B97F4A7C15) & MASK
        z = state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK
        out[i] = (((z ^ (z >> 31)) >> 11) + 0.5) * 2.0**-53
    return out


def normals(n):
    u = splitmix64(42, n + n % 2)
    radius, angle = np.sqrt(-2 * np.log(u[0::2])), 2 * np.pi * u[1::2]
    z = np.empty(len(u))
    z[0::2], z[1::2] = radius * np.cos(angle), radius * np.sin(angle)
    return z[:n]


def laplacian(a):
    return 4 * a[1:-1, 1:-1] - a[:-2, 1:-1] - a[2:, 1:-1] - a[1:-1, :-2] - a[1:-1, 2:]


def measures(a):
    c, l, r, u, d = a[1:-1, 1:-1], a[1:-1, :-2], a[1:-1, 2:], a[:-2, 1:-1], a[2:, 1:-1]
    nw, ne, sw, se = a[:-2, :-2], a[:-2, 2:], a[2:, :-2], a[2:, 2:]
    gx, gy = ne + 2 * r + se - nw - 2 * l - sw, sw + 2 * d + se - nw - 2 * u - ne
    corners = nw + ne + sw + se - 2 * (l + r + u + d) + 4 * c
    return (
        laplacian(a).var(),
        laplacian(np.pad(a, 1, mode="reflect")).var(),
        (gx**2 + gy**2).mean(),
        (abs(2 * c - l - r) + abs(2 * c - u - d)).mean(),
        ((a[:, 2:] - a[:, :-2]) ** 2).mean(),
        np.sqrt(np.pi / 2) / 6 * abs(corners).mean(),
    )


for name in PICTURES:
    picture = np.asarray(Image.open(f"{name}.png")).astype(float)
    z = normals(picture.size).reshape(picture.shape)
    for condition, (blur, noise) in CONDITIONS.items():
        a = gaussian_filter(picture, blur, mode="reflect", truncate=4.0) if blur else picture
        values = " ".join(f"{v:.6g}" for v in measures(a + noise * z))
        print(f"{name} {condition} {values}")
