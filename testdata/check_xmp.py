"""Reads the sidecars of testdata/xmp before and after marking with two readers that are not this
program: exempi (python-xmp-toolkit 2.1.0) and Exiv2 (pyexiv2 2.16.0).

    apt-get install libexempi8; pip install python-xmp-toolkit==2.1.0 pyexiv2==2.16.0
    python3 testdata/check_xmp.py

For every sidecar both must find rating 4, the label and both keywords afterwards, the other
keywords as before, and every other property with the same value as before.
"""
import io
import pathlib
import sys

import pyexiv2
from libxmp import XMPMeta
from libxmp.core import XMPIterator
from PIL import Image

HERE = pathlib.Path(__file__).parent / "xmp"
OURS = ["stopwise:near", "stopwise:misfocused"]
# Exiv2 keeps properties by prefix: two namespaces that both claim "dc" collide in it.
KNOWN = {("09-taken-prefixes.xmp", "exiv2")}
MARKS = {"rating": "4", "label": "look & <keep>"}
XMP = "http://ns.adobe.com/xap/1.0/"
DC = "http://purl.org/dc/elements/1.1/"


def exempi(path):
    """Every leaf that exempi finds: (namespace, path) -> value."""
    meta = XMPMeta()
    text = path.read_text(encoding="utf-8").lstrip("\ufeff")
    meta.parse_from_str(text, xmpmeta_wrap="adobe:ns:meta/" not in text)
    return {(ns, name): value for ns, name, value, _ in XMPIterator(meta) if name}


def short(name):
    return name.split(":", 1)[-1]


def split_exempi(leaves):
    """Rating, label, keywords and the rest."""
    rating = label = None
    words, rest = [], {}
    for (ns, name), value in leaves.items():
        top = short(name.split("[")[0].split("/")[0])
        direct = "/" not in name.replace("/rdf:value", "")
        if ns == XMP and top == "Rating" and direct:
            rating = value
        elif ns == XMP and top == "Label" and direct:
            label = value
        elif ns == DC and top == "subject":
            if "[" in name and "/" not in name:
                words.append(value)
        elif name:
            rest[(ns, "/".join(short(p) for p in name.split("/")))] = value
    return rating, label, words, rest


def exiv2(path):
    """Rating, label, keywords and the rest as Exiv2 finds them."""
    # Exiv2 tells kinds of file by their first bytes and so takes not every sidecar for one: the
    # packet is read from inside a picture.
    picture = io.BytesIO()
    Image.new("L", (8, 8)).save(picture, "JPEG")
    with pyexiv2.ImageData(picture.getvalue()) as image:
        image.modify_raw_xmp(path.read_text(encoding="utf-8").lstrip("\ufeff"))
        found = image.read_xmp()
    rating = found.pop("Xmp.xmp.Rating", None)
    label = found.pop("Xmp.xmp.Label", None)
    words = found.pop("Xmp.dc.subject", None) or []
    # A list with qualified items comes item by item.
    items = {k: v for k, v in found.items() if k.startswith("Xmp.dc.subject[")}
    if items:
        found = {k: v for k, v in found.items() if k not in items}
        words = [v for k, v in items.items() if "/" not in k]
        found["languages"] = sorted(v for k, v in items.items() if "/" in k)
    return rating, label, words, found


def value(text):
    """A qualified value stands under rdf:value in one of the readers."""
    return text if text is None or isinstance(text, str) else str(text)


def main():
    bad = 0
    unread = {"exempi": 0, "exiv2": 0}
    for before in sorted((HERE / "before").glob("*.xmp")):
        after = HERE / "after" / before.name
        for name, read in [("exempi", lambda p: split_exempi(exempi(p))), ("exiv2", exiv2)]:
            try:
                rating_0, _, words_0, rest_0 = read(before)
            except Exception as error:
                print(f"{before.name}: {name} cannot read it before marking either: {error}".strip())
                unread[name] += 1
                continue
            if rating_0 is None and not rest_0 and b"Rating" in before.read_bytes():
                print(f"{before.name}: {name} finds nothing in it before marking either")
                unread[name] += 1
                continue
            try:
                rating, label, words, rest = read(after)
            except Exception as error:  # a reader that refuses is told, not hidden
                known = (before.name, name) in KNOWN
                print(f"{before.name}: {name} refuses it{' (known)' if known else ''}: {error}".strip())
                bad += not known
                continue
            kept = [w for w in words_0 if not w.startswith("stopwise:")]
            wrong = []
            if value(rating) != MARKS["rating"]:
                wrong.append(f"rating {rating!r}")
            if value(label) != MARKS["label"]:
                wrong.append(f"label {label!r}")
            if sorted(words) != sorted(kept + OURS):
                wrong.append(f"keywords {words!r}")
            for key in rest_0.keys() | rest.keys():
                if rest_0.get(key) != rest.get(key):
                    wrong.append(f"{key}: {rest_0.get(key)!r} became {rest.get(key)!r}")
            bad += bool(wrong)
            print(f"{before.name}: {name}: {len(rest_0)} other properties, {wrong or 'as it should be'}")
    print(f"not read at all: {unread}")
    print("no fault" if not bad else f"{bad} faults")
    return bad > 0


if __name__ == "__main__":
    sys.exit(main())
