"""Clips of known truth made outside the project (NumPy, SciPy, ffmpeg) against `stopwise clip`.

    python3 benches/clip_truth.py FIRST LAST

Discs of many sizes, blurred by a Gaussian whose width passes through its least value as a focus
plane does, moved by a drift and a sine, white noise on top, coded as H.264 or H.265 at two bit
rates. Truth is what went in: width, place, amplitude, frequency. Prints a line a seed, then means.
"""
import json
import os
import random
import subprocess
import sys
import tempfile

import numpy as np
from scipy import ndimage

PROGRAM = os.environ.get("STOPWISE", "target/release/stopwise")
WIDTH, HEIGHT, MARGIN, FINER = 640, 360, 40, 2
HIT, NEAR = 1.3, 2.0


def drawing(g):
    h, w = (HEIGHT + 2 * MARGIN) * FINER, (WIDTH + 2 * MARGIN) * FINER
    picture = np.full((h, w), 90.0, np.float32)
    yy, xx = np.mgrid[:h, :w]
    for _ in range(1500):
        r = min(120, 6 / (g.random() ** 0.6 + 0.02))
        cx, cy = g.random() * w, g.random() * h
        x0, x1 = int(max(0, cx - r)), int(min(w, cx + r + 1))
        y0, y1 = int(max(0, cy - r)), int(min(h, cy + r + 1))
        inside = (xx[y0:y1, x0:x1] - cx) ** 2 + (yy[y0:y1, x0:x1] - cy) ** 2 < r * r
        picture[y0:y1, x0:x1][inside] = g.uniform(30, 220)
    return picture


def film(seed, fps, frames, hz, amplitude, noise_dn, kbit_s, codec, path):
    """Writes a clip; returns (time s, blur sigma px, subject x px, subject y px) of each frame."""
    g = np.random.default_rng(seed)
    sharp = drawing(g)
    rate, in_focus_s = g.uniform(1.5, 5), frames / fps * g.uniform(0.3, 0.7)
    angle, phase, drift = g.uniform(0, 3.1), g.uniform(0, 6.28), g.uniform(-8, 8, 2)
    least = g.uniform(0.6, 0.9)
    quiet = ["-x265-params", "log-level=none"] if "265" in codec else []
    coder = subprocess.Popen(
        ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gray"]
        + ["-s", f"{WIDTH}x{HEIGHT}", "-r", str(fps), "-i", "-", "-c:v", codec]
        + ["-preset", "veryfast", "-b:v", f"{kbit_s}k", "-pix_fmt", "yuv420p", *quiet, path],
        stdin=subprocess.PIPE,
    )
    truth, blurred = [], {}
    for i in range(frames):
        t = i / fps
        step = round(np.log(np.hypot(least, rate * (t - in_focus_s))) / 0.06)
        sigma = np.exp(step * 0.06)
        if step not in blurred:
            # The pixel and the reading between samples have a width of their own.
            own = 1 / 12 + 0.02
            blurred[step] = ndimage.gaussian_filter(
                sharp, np.sqrt(max(sigma * sigma - own, 0.01)) * FINER
            )
        swing = amplitude * np.sin(2 * np.pi * hz * t + phase)
        x = drift[0] * (t - frames / fps / 2) + swing * np.cos(angle)
        y = drift[1] * (t - frames / fps / 2) + swing * np.sin(angle)
        frame = ndimage.affine_transform(
            blurred[step],
            [FINER, FINER],
            offset=[(MARGIN - y) * FINER + 0.5, (MARGIN - x) * FINER + 0.5],
            output_shape=(HEIGHT, WIDTH),
            order=1,
        )
        noisy = frame + noise_dn * g.standard_normal((HEIGHT, WIDTH))
        coder.stdin.write(np.clip(np.round(noisy), 0, 255).astype(np.uint8).tobytes())
        truth.append((t, sigma, WIDTH / 2 + x, HEIGHT / 2 + y))
    coder.stdin.close()
    assert coder.wait() == 0
    return truth


def call(ratio):
    return "hit" if ratio <= HIT else "near" if ratio <= NEAR else "miss"


def one(seed, folder):
    r = random.Random(seed)
    fps = r.choice([25, 30, 50])
    hz, amplitude = r.uniform(1, min(12, 0.42 * fps)), r.uniform(2, 10)
    noise_dn, kbit_s = r.choice([0.7, 1.5, 3, 5.4]), r.choice([900, 3100])
    codec = r.choice(["libx264", "libx265"])
    clip, record = os.path.join(folder, "clip.mp4"), os.path.join(folder, "clip.json")
    truth = film(seed, fps, int(fps * 2.4), hz, amplitude, noise_dn, kbit_s, codec, clip)
    place = f"{truth[0][2] / WIDTH},{truth[0][3] / HEIGHT}"
    subprocess.run(
        [PROGRAM, "clip", clip, "--subject", place, "--no-report", "-q", "--json", record], check=True
    )
    found = json.load(open(record))["clips"][0]
    least = min(sigma for _, sigma, _, _ in truth)
    calls = [call(sigma / least) for _, sigma, _, _ in truth]
    rows = found["frames_table"]
    right = np.mean([a == b["verdict"] for a, b in zip(calls, rows)])
    kept = [s for s in found["spans"] if s["verdict"] == "in focus"]
    inside = [any(s["start_s"] <= f["t_s"] < s["end_s"] for s in kept) for f in rows]
    hits = [c == "hit" for c in calls]
    both = sum(a and b for a, b in zip(hits, inside))
    either = sum(a or b for a, b in zip(hits, inside))
    iou = both / either if either else 1.0
    off = max(
        np.hypot(f["subject_x"] * WIDTH - x, f["subject_y"] * HEIGHT - y)
        for f, (_, _, x, y) in zip(rows, truth)
        if f["subject_x"] is not None
    )
    value = lambda key: ((found["shake"] or {}).get(key) or {"value": float("nan")})["value"]
    px, rhythm = value("amplitude_px"), value("frequency_hz")
    print(
        f"{seed}: {fps} fps, noise {noise_dn} DN, {codec} {kbit_s} kbit/s: verdicts {right:.2f}, "
        f"IoU {iou:.2f}, shake {amplitude:.2f} px found {px:.2f}, {hz:.2f} Hz found {rhythm:.2f}, "
        f"subject off by at most {off:.2f} px",
        flush=True,
    )
    return right, iou, abs(px / amplitude - 1) <= 0.1, abs(rhythm - hz) <= 0.5


def main():
    seeds = range(int(sys.argv[1]), int(sys.argv[2]) + 1)
    with tempfile.TemporaryDirectory() as folder:
        rows = [one(seed, folder) for seed in seeds]
    means = np.mean(np.array(rows, float), axis=0)
    print(
        f"{len(rows)} clips: verdicts {means[0]:.3f}, IoU {means[1]:.3f}, amplitude within 10 % in "
        f"{means[2]:.0%}, frequency within 0.5 Hz in {means[3]:.0%}"
    )


if __name__ == "__main__":
    main()
