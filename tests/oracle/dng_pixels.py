#!/usr/bin/env python3
"""Do the DNG files hold what was planted? Asked of LibRaw 0.22 through rawpy 0.28.

    cargo run --example oracle_dngs -- FOLDER
    python3 tests/oracle/dng_pixels.py FOLDER

Counts, visible area, colour of every visible pixel, white level and as-shot balance must agree
exactly (the balance to rounding). LibRaw lets the visible part of a Bayer mosaic begin at an even
pixel: an odd origin is moved by one, right and down, and the pattern with it. Ends with status 1
where one file differs.
"""

import json
import pathlib
import sys

import numpy as np
import rawpy

LEAST_FILES = 240  # 5 patterns, 4 origins, 3 depths, 2 byte orders, 2 ways of storing
BALANCE_TOLERANCE = 1e-4


def seen_area(entry):
    """The active area as LibRaw shows it: Bayer origins are made even."""
    left, top, width, height = entry["active"]
    if len(entry["letters"]) == 4:
        return left + left % 2, top + top % 2, width - left % 2, height - top % 2
    return left, top, width, height


def planted_colours(entry):
    """Letter of every pixel that LibRaw shows; the pattern counts from the active area's origin."""
    letters = entry["letters"]
    side = 2 if len(letters) == 4 else 6
    left, top, width, height = seen_area(entry)
    rows = (np.arange(height) + top - entry["active"][1]) % side
    columns = (np.arange(width) + left - entry["active"][0]) % side
    return np.array(list(letters)).reshape(side, side)[np.ix_(rows, columns)]


def differences(folder, entry):
    """What LibRaw sees differently."""
    found = []
    left, top, width, height = seen_area(entry)
    counts = np.fromfile(folder / (entry["name"] + ".u16"), dtype="<u2")
    counts = counts.reshape(entry["height"], entry["width"])
    with rawpy.imread(str(folder / (entry["name"] + ".dng"))) as raw:
        if raw.raw_image.shape != counts.shape or not np.array_equal(raw.raw_image, counts):
            found.append("counts")
        sizes = raw.sizes
        if (sizes.left_margin, sizes.top_margin, sizes.width, sizes.height) != (left, top, width, height):
            found.append(f"active area {sizes}")
        elif not np.array_equal(raw.raw_image_visible, counts[top : top + height, left : left + width]):
            found.append("visible counts")
        description = raw.color_desc.decode()
        colours = np.array(list(description))[raw.raw_colors_visible]
        if not np.array_equal(colours, planted_colours(entry)):
            found.append("colours")
        if raw.white_level != entry["white"]:
            found.append(f"white level {raw.white_level}")
        balance = np.array(raw.camera_whitebalance[:3])
        expected = 1 / np.array(entry["neutral"])
        if np.abs(balance / balance[1] / (expected / expected[1]) - 1).max() > BALANCE_TOLERANCE:
            found.append(f"balance {balance}")
    return found


def main():
    folder = pathlib.Path(sys.argv[1])
    entries = json.loads((folder / "list.json").read_text())
    wrong = 0
    for entry in entries:
        found = differences(folder, entry)
        if found:
            wrong += 1
            print(f"{entry['name']}: {', '.join(found)}")
    print(f"LibRaw {'.'.join(map(str, rawpy.libraw_version))}: {len(entries)} files, {wrong} differ")
    if len(entries) < LEAST_FILES:
        sys.exit(f"only {len(entries)} files, expected {LEAST_FILES}")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
