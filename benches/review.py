#!/usr/bin/env python3
"""Times the page of `stopwise review` over a culled outing of 1,000 frames of 24 Mpx.

    python3 benches/review.py target/release/stopwise [folder for the frames]

Makes 20 frames of one burst from the demo (enlarged to 6000 x 4000 px), culls them, and writes a
record of 50 such bursts whose files are links to them. Then, in a headless browser: from the start
of the program to the first picture on the page, to the next frame when it was fetched ahead, and
from moving the subject to the burst judged again, first and second time.
"""
import json
import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

from PIL import Image

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "tests/browser"))
import review as page  # noqa: E402

BURSTS, FRAMES = 50, 20


def made(program, work):
    """The record of the outing, made once."""
    record = work / "day.json"
    if record.exists():
        return record
    if not (work / "demo").exists():
        subprocess.run([program, "demo", "--dir", work / "demo"], check=True, capture_output=True)
    sources = sorted((work / "demo/day").rglob("*.jpg"))
    one = work / "one"
    one.mkdir(exist_ok=True)
    for i in range(FRAMES):
        source = Image.open(sources[i % 8])
        exif = source.getexif()
        # Each a little elsewhere: the same bytes would count as one frame.
        step = 3 * (i // 8)
        source = source.crop((step, step, source.width, source.height))
        large = source.resize((6000, 4000), Image.Resampling.BICUBIC)
        large.save(one / f"f{i:03}.jpg", quality=92, exif=exif)
    subprocess.run(
        [program, "cull", "one", "--no-report", "--quiet", "--json", "one.json"], cwd=work, check=True
    )
    culled = json.loads((work / "one.json").read_text())
    first = culled["bursts"][0]
    rows = {r["path"]: r for r in culled["frames"] if r["burst"] == first["id"]}
    bursts, frames = [], []
    for b in range(BURSTS):
        folder = work / "day" / f"b{b:02}"
        folder.mkdir(parents=True, exist_ok=True)
        names = []
        for name in first["frames"]:
            os.link(one / name, folder / name)
            names.append(f"b{b:02}/{name}")
            frames.append({**rows[name], "path": names[-1], "burst": b + 1})
        best = first["best"] and f"b{b:02}/{first['best']}"
        bursts.append({**first, "id": b + 1, "frames": names, "best": best})
    culled.update(bursts=bursts, frames=frames)
    culled["outing"]["paths"] = ["day"]
    record.write_text(json.dumps(culled))
    return record


def main():
    program = os.path.realpath(sys.argv[1])
    place = sys.argv[2] if len(sys.argv) > 2 else tempfile.mkdtemp()
    work = pathlib.Path(place)
    work.mkdir(parents=True, exist_ok=True)
    made(program, work)
    frames = len(json.loads((work / "day.json").read_text())["frames"])
    browser = page.Browser(tempfile.mkdtemp())
    browser.size(1400, 900)
    firsts = []
    for _ in range(3):
        review = page.Review(program, place, "day.json")
        assert page.opened(browser, review)
        firsts.append(time.monotonic() - review.start)
        if _ < 2:
            review.kill()
    print(f"{frames} frames: from start to first picture {statistics.median(firsts):.2f} s "
          f"(of 3: {', '.join(f'{t:.2f}' for t in firsts)})")
    timed = (
        "new Promise(done => { const t = performance.now(); const f = document.getElementById("
        "'places'); f.addEventListener('drawn', () => done(performance.now() - t), {once: true});"
        "document.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowDown'})); })"
    )
    nexts = []
    for _ in range(8):
        time.sleep(2.5)
        nexts.append(browser.value(timed))
    print(f"next frame, fetched ahead: {statistics.median(nexts):.0f} ms "
          f"(of 8: {', '.join(f'{t:.0f}' for t in nexts)})")
    for x in (0.45, 0.55):
        n = browser.value(page.CURRENT)
        moved = (
            "(async () => { const t = performance.now(); const a = await fetch('told', {method: 'POST', "
            "headers: {'Content-Type': 'application/json'}, body: JSON.stringify({do: 'subject', "
            f"frame: {n}, x: {x}, y: 0.5}})}}); return [(await a.json()).burst, performance.now() - t]; }})()"
        )
        burst, whole = browser.value(moved)
        took = browser.value(f"fetch('burst/{burst}').then(a => a.json()).then(b => b.took_ms)")
        print(f"subject moved over {FRAMES} frames: {whole:.0f} ms in all, of it following and "
              f"judging {took} ms")
    browser.close()
    review.kill()


if __name__ == "__main__":
    main()
