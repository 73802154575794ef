#!/usr/bin/env python3
"""Whole-program speed against the yardstick: a plain colour decode of the same files.

Makes 24 Mpx JPEGs (6000x4000, quality 92, 4:2:0) of a close-up-like scene (texture that falls out
of focus away from the middle, a soft ground, sensor noise, a small shift from frame to frame),
then runs in turn, several times: `stopwise cull` with its report, and OpenCV's colour imread of
the same files on as many threads. Prints the medians, their ratio and peak memory.

    pip install numpy opencv-python-headless pillow
    cargo build --release && python3 benches/speed.py [FRAMES] [ROUNDS]
"""
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from PIL import Image

FRAMES = int(sys.argv[1]) if len(sys.argv) > 1 else 24
ROUNDS = int(sys.argv[2]) if len(sys.argv) > 2 else 3
W, H = 6000, 4000


def scene():
    rng = np.random.default_rng(7)
    big = np.full((H + 200, W + 200, 3), 96, np.uint8)
    for _ in range(9000):
        r = int(8 * (1 - rng.random()) ** -0.6)
        centre = (int(rng.integers(0, W + 200)), int(rng.integers(0, H + 200)))
        colour = tuple(int(v) for v in rng.integers(30, 220, 3))
        cv2.circle(big, centre, min(r, 220), colour, -1, cv2.LINE_AA)
    levels = [cv2.GaussianBlur(big, (0, 0), s) for s in (0.8, 3, 12, 30)]
    y, x = np.mgrid[0 : H + 200, 0 : W + 200]
    away = np.hypot((x - W * 0.5) / W, (y - H * 0.55) / H) * 8
    out = levels[0].astype(np.float32)
    for k, level in enumerate(levels[1:]):
        t = np.clip(away - 0.7 - k, 0, 1)[..., None].astype(np.float32)
        out += (level - out) * t
    return out


def make(folder):
    base = scene()
    rng = np.random.default_rng(11)
    grain = rng.standard_normal((H, W, 3), dtype=np.float32)
    for i in range(FRAMES):
        dx, dy = (i * 37) % 190, (i * 53) % 190
        frame = base[dy : dy + H, dx : dx + W] + 2.0 * np.roll(grain, i * 97, axis=1)
        frame = np.clip(frame, 0, 255).astype(np.uint8)
        Image.fromarray(frame).save(
            os.path.join(folder, f"f{i:03}.jpg"), quality=92, subsampling=2
        )


def main():
    cores = os.cpu_count()
    cv2.setNumThreads(1)
    binary = os.path.join(os.path.dirname(__file__), "..", "target", "release", "stopwise")
    kept = os.environ.get("STOPWISE_SPEED_FRAMES")
    with tempfile.TemporaryDirectory() as temporary:
        folder = kept or temporary
        os.makedirs(folder, exist_ok=True)
        if not any(n.endswith(".jpg") for n in os.listdir(folder)):
            make(folder)
        files = sorted(os.path.join(folder, n) for n in os.listdir(folder) if n.endswith(".jpg"))
        n = len(files)
        report = os.path.join(temporary, "report.html")
        ours, plain, luma = [], [], []
        for _ in range(ROUNDS):
            t = time.perf_counter()
            subprocess.run([binary, "cull", folder, "--report", report, "-q", "--no-cache"], check=True)
            ours.append(time.perf_counter() - t)
            t = time.perf_counter()
            with ThreadPoolExecutor(cores) as pool:
                shapes = list(pool.map(lambda f: cv2.imread(f, cv2.IMREAD_COLOR).shape, files))
            plain.append(time.perf_counter() - t)
            assert all(s == (H, W, 3) for s in shapes)
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        a, b = statistics.median(ours) / n, statistics.median(plain) / n
        print(f"{n} frames of 24 Mpx, {cores} threads, median of {ROUNDS} rounds, wall time a frame")
        print(f"  stopwise cull with report  {1000 * a:7.1f} ms")
        print(f"  OpenCV colour imread       {1000 * b:7.1f} ms")
        print(f"  ratio                      {a / b:7.2f}")
        print(f"  peak memory of stopwise    {peak:7.0f} MB")


main()
