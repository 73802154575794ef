#!/usr/bin/env python3
"""Holds a raw file written by the simulator against an independent reader (LibRaw through rawpy).

    mkdir dng && STOPWISE_DNG_OUT=$PWD/dng cargo test --test all raw::for_other
    pip install rawpy numpy && python3 testdata/check_dng.py dng

Checks the samples one by one, the levels, the filter pattern, the white balance, and that the
reader's own development of the frame is grey where the scene is.
"""
import pathlib
import sys

import numpy as np
import rawpy

folder = pathlib.Path(sys.argv[1])
want = np.fromfile(folder / "frame.u16", dtype="<u2").reshape(120, 160)
with rawpy.imread(str(folder / "frame.dng")) as raw:
    got = raw.raw_image
    assert got.shape == want.shape, got.shape
    assert np.array_equal(got, want), f"{np.count_nonzero(got != want)} samples differ"
    assert raw.white_level == 16383, raw.white_level
    assert set(raw.black_level_per_channel) == {512}, raw.black_level_per_channel
    names = raw.color_desc.decode()
    pattern = "".join(names[i] for i in raw.raw_pattern.flat)
    assert pattern == "RGGB", pattern
    balance = np.array(raw.camera_whitebalance[:3])
    balance /= balance[1]
    assert np.allclose(balance, [1 / 0.53, 1, 1 / 0.64], rtol=1e-3), balance
    rgb = raw.postprocess(use_camera_wb=True, no_auto_bright=True, output_bps=16).astype(float)
    middle = rgb[20:100, 60:100].mean(axis=(0, 1))
    tint = middle.max() / middle.min()
    assert tint < 1.1, middle
print(f"rawpy {rawpy.__version__}, LibRaw {'.'.join(map(str, rawpy.libraw_version))}: "
      f"{want.size} samples equal, levels, pattern and balance as written, tint {tint:.3f}")
