"""Speed and memory of `stopwise clip` against ffmpeg's own decoding of the same clip.

    python3 benches/clip_speed.py CLIP [ROUNDS]

Runs `ffmpeg -i CLIP -f null -` and `stopwise clip CLIP --subject 0.5,0.5 --no-report` in turn, on
the same processors, and prints both medians (wall and processor time), their ratio and the largest
memory of the program and of the ffmpeg under it.
"""
import os
import resource
import statistics
import subprocess
import sys
import time

PROGRAM = os.environ.get("STOPWISE", "target/release/stopwise")


def timed(command):
    """Wall s, processor s (children included), peak kB of the process itself."""
    start, before = time.time(), resource.getrusage(resource.RUSAGE_CHILDREN)
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if status != 0:
        sys.exit(f"{command[0]} failed: {status}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.time() - start, used, usage.ru_maxrss


def main():
    clip = sys.argv[1]
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    plain = ["ffmpeg", "-nostdin", "-i", clip, "-f", "null", "-"]
    ours = [PROGRAM, "clip", clip, "--subject", "0.5,0.5", "--no-report", "--quiet"]
    rows = [(timed(plain), timed(ours)) for _ in range(rounds)]
    middle = lambda which, part: statistics.median(r[which][part] for r in rows)
    for part, name in [(0, "wall"), (1, "processor")]:
        a, b = middle(0, part), middle(1, part)
        print(f"{name}: ffmpeg {a:.2f} s, clip {b:.2f} s, ratio {b / a:.2f}")
    print(f"peak memory of the program: {middle(1, 2) / 1024:.0f} MB; of ffmpeg: {middle(0, 2) / 1024:.0f} MB")


if __name__ == "__main__":
    main()
