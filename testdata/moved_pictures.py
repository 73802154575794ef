"""Makes gravel_moved.png and gravel_soft.png: parts of gravel.png turned and shifted by SciPy, the
second blurred as well. Prints what another registration finds for a plain shift.

Run in this folder: python3 moved_pictures.py (SciPy 1.17, scikit-image 0.26, Pillow).
"""

import numpy as np
from PIL import Image
from scipy import ndimage
from skimage.registration import phase_cross_correlation

SIDE, X0, Y0 = 256, 100, 120
DX, DY, TURN_DEG = 2.3, -1.6, 0.8

whole = np.asarray(Image.open("gravel.png").convert("L"), dtype=float)


def moved(picture, dx, dy, turn_deg):
    """What lay at p is found at p + motion(p): a turn about the middle from x to y, then a shift."""
    turn = np.deg2rad(turn_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    # Rows are y: places read for the place (y, x) of the result.
    back = np.array([[cos, -sin], [sin, cos]])
    middle = np.array([Y0 + (SIDE - 1) / 2, X0 + (SIDE - 1) / 2])
    offset = middle - back @ (middle + np.array([dy, dx]))
    whole_moved = ndimage.affine_transform(picture, back, offset=offset, order=5, mode="mirror")
    return whole_moved[Y0 : Y0 + SIDE, X0 : X0 + SIDE]


for name, picture in [("gravel_moved", whole), ("gravel_soft", ndimage.gaussian_filter(whole, 2.0))]:
    out = np.clip(np.rint(moved(picture, DX, DY, TURN_DEG)), 0, 255).astype(np.uint8)
    Image.fromarray(out).save(f"{name}.png", optimize=True)

still = whole[Y0 : Y0 + SIDE, X0 : X0 + SIDE]
for soft in (0.0, 2.0):
    picture = ndimage.gaussian_filter(whole, soft) if soft else whole
    shift = moved(picture, 0.37, -0.62, 0.0)
    found = phase_cross_correlation(still, shift, upsample_factor=100)[0]
    print(f"shift 0.37 -0.62, blur {soft}: phase_cross_correlation {-found[1]:.2f} {-found[0]:.2f}")
