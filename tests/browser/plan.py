#!/usr/bin/env python3
"""Holds a page of `stopwise plan` in a browser against the record of the same plan.

    plan.py RECORD.json PAGE.dom

Every number in the table of settings has to be the record's, within half its last digit.
"""

import json
import re
import sys

SHOWN = {
    "in focus, µm": lambda s: s["finest_um_plane"],
    "at the ends, µm": lambda s: s["finest_um_depth_end"],
    "hit": lambda s: 100 * s["hit_chance"],
    "frames, a hit": lambda s: s["frames_for_a_hit"],
    "noise, %": lambda s: 100 * s["noise_share"],
    "moves, px": lambda s: s["smear_px"],
    "crop, ×": lambda s: s["crop_factor"],
    "ISO": lambda s: s["iso"],
}


def agrees(cell: str, value: float | None) -> bool:
    if cell == "–":
        return value is None
    if cell in ("&lt;1 %", "&gt;99 %"):
        return value < 0.5 or 99.5 <= value < 100
    number = re.match(r"[0-9.]+", cell)[0]
    decimals = len(number.partition(".")[2])
    return abs(float(number) - value) <= 0.5 * 10**-decimals * (1 + 1e-9)


with open(sys.argv[1], encoding="utf-8") as file:
    settings = json.load(file)["settings"]
with open(sys.argv[2], encoding="utf-8") as file:
    table = re.search(r'<table id="settings".*?</table>', file.read(), re.S)[0]
heads = re.findall(r"<th[^>]*>([^<]*)</th>", table)
rows = [re.findall(r"<td>([^<]*)</td>", row) for row in re.findall(r"<tr>.*?</tr>", table, re.S)][1:]
wrong = []
if len(rows) != len(settings):
    wrong.append(f"{len(rows)} rows for {len(settings)} settings")
for row, setting in zip(rows, settings):
    cells = dict(zip(heads, row, strict=True))
    if float(cells["aperture"].removeprefix("f/")) != setting["f_number"]:
        wrong.append(f"{cells['aperture']} for {setting['f_number']}")
    if cells["most lost to"] != setting["dominant_loss"]:
        wrong.append(f"{cells['most lost to']} for {setting['dominant_loss']}")
    for head, value in SHOWN.items():
        if head in cells and not agrees(cells[head], value(setting)):
            wrong.append(f"{head}: {cells[head]} for {value(setting)}")
print("\n".join(f"  {line}" for line in wrong), end="\n" if wrong else "")
sys.exit(bool(wrong))
