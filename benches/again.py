#!/usr/bin/env python3
"""A second run over unchanged frames against the first.

Makes an outing of 500 frames out of the frames of a folder (`stopwise demo --dir DIR` makes
some): copies with another day and another comment each, so that no two are the same. Then runs
`stopwise cull` with its report and JSON twice with an empty cache before the first, compares the
bytes, and prints wall and processor time of both. The files' pages are in memory both times.

    cargo build --release && target/release/stopwise demo --dir demo
    python3 benches/again.py demo/day [FRAMES]
"""
import filecmp
import os
import pathlib
import re
import resource
import subprocess
import sys
import tempfile
import time

SOURCE = pathlib.Path(sys.argv[1])
FRAMES = int(sys.argv[2]) if len(sys.argv) > 2 else 500
BINARY = os.environ.get("STOPWISE") or str(
    pathlib.Path(__file__).parent / ".." / "target" / "release" / "stopwise"
)


def varied(data, copy):
    """The same picture with another day and, in a JPEG, a comment."""
    dates = rb"(20\d\d):(\d\d):(\d\d) (?=\d\d:\d\d:\d\d)"
    data = re.sub(dates, lambda m: b"%04d:%02d:%02d " % (2032 + copy // 300, 1 + copy // 25 % 12,
                                                         1 + copy % 25), data)
    if data[:2] == b"\xff\xd8":
        comment = b"copy %d" % copy
        data = data[:2] + b"\xff\xfe" + (len(comment) + 2).to_bytes(2, "big") + comment + data[2:]
    return data


def run(folder, place, name):
    env = {**os.environ, "STOPWISE_CACHE": str(place / "cache")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    t = time.perf_counter()
    subprocess.run([BINARY, "cull", str(folder), "-q", "--report", str(place / f"{name}.html"),
                    "--json", str(place / f"{name}.json")], env=env, check=True)
    wall = time.perf_counter() - t
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main():
    kinds = {".jpg", ".dng"}
    sources = sorted(p for p in SOURCE.rglob("*") if p.suffix in kinds)
    with tempfile.TemporaryDirectory() as temporary:
        place = pathlib.Path(temporary)
        folder = place / "day"
        folder.mkdir()
        for i in range(FRAMES):
            source = sources[i % len(sources)]
            name = f"{i // len(sources):03}_{source.name}"
            (folder / name).write_bytes(varied(source.read_bytes(), i // len(sources)))
        size = sum(p.stat().st_size for p in folder.iterdir()) / FRAMES / 1e6
        # Files at rest, as a photographer's are.
        time.sleep(4)
        first = run(folder, place, "first")
        second = run(folder, place, "second")
        for end in ("html", "json"):
            assert filecmp.cmp(place / f"first.{end}", place / f"second.{end}", shallow=False), end
        kept = sum(p.stat().st_size for p in (place / "cache").iterdir()) / FRAMES / 1e3
        print(f"{FRAMES} frames of {size:.2f} MB; cache {kept:.0f} kB a frame; same bytes")
        for name, (wall, busy) in (("first", first), ("second", second)):
            print(f"  {name:6}  {wall:8.2f} s wall  {busy:8.2f} s processor")
        print(f"  ratio   {first[0] / second[0]:8.1f}          {first[1] / second[1]:8.1f}")


main()
