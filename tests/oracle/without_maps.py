#!/usr/bin/env python3
"""Is what we write for programs that ignore maps of gains right in one? Ends with status 1 where not.

    python3 tests/oracle/without_maps.py LIGHTLOSS DEMO

DEMO holds the demo's shoots and their profiles. LibRaw 0.22 (rawpy 0.28) applies no GainMap. A frame through
a filter, corrected with --crop-active, must have no border in it; corrected as usual it has one, so that this
could fail. The mean of a filter's frames, divided by its flat-field frame and by the mean of the bare frames
of the same wall, must be flat: what is left is the filter's unevenness that the flat field did not take.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import rawpy

# A border is darker than this share of the picture beside it.
BORDER = 0.5
# How flat, from 5th to 95th percentile of cells, and how uneven the same is without the flat field.
FLAT = 0.02
UNEVEN = 0.06
CELLS = (12, 18)
SHOOTS = ["harbour-ten"]


def run(*words):
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{words}: {done.stderr}")
    return done


def edges(path):
    """The darkest of four edges against the inner part, in all that is stored."""
    with rawpy.imread(str(path)) as raw:
        image = raw.raw_image.astype(float) - min(raw.black_level_per_channel)
        size = (raw.sizes.top_margin, raw.sizes.left_margin)
    inner = np.median(image[40:-40, 40:-40])
    sides = [image[:4], image[-4:], image[:, :4], image[:, -4:]]
    return min(np.median(side) for side in sides) / inner, size


def green(path, black=None):
    """Means of the greens over cells, of the visible part."""
    with rawpy.imread(str(path)) as raw:
        image = raw.raw_image_visible.astype(float) - min(raw.black_level_per_channel)
        colours = raw.raw_colors_visible
    image = np.where((colours == 1) | (colours == 3), image, np.nan)
    rows, columns = (n // c * c for n, c in zip(image.shape, CELLS))
    cells = image[:rows, :columns].reshape(CELLS[0], rows // CELLS[0], CELLS[1], columns // CELLS[1])
    return np.nanmean(cells, axis=(1, 3))


def spread(map_):
    return np.subtract(*np.percentile(map_, [95, 5])) / np.median(map_)


def main():
    program, demo = sys.argv[1], pathlib.Path(sys.argv[2])
    faults = []
    for shoot in SHOOTS:
        folder, profile = demo / shoot, demo / f"{shoot}-profile"
        text = json.loads((profile / "profile.json").read_text())
        frames = text["settings"][0]["frames"]
        with tempfile.TemporaryDirectory() as place:
            place = pathlib.Path(place)
            first = folder / frames["filtered"][0]
            asked = [program, "correct", first, "--profile", profile, "--white", "5500"]
            for name, more in {"plain": [], "cut": ["--crop-active", "--evenness", "--flat-field"]}.items():
                run(*asked, *more, "--out", place / name)
            of = lambda name: place / name / f"{first.stem}-corrected.dng"
            dark, margins = edges(of("plain"))
            if dark > BORDER or margins == (0, 0):
                faults.append(f"{shoot}: no border to cut off: {dark:.2f}, {margins}")
            light, margins = edges(of("cut"))
            if light < BORDER or margins != (0, 0):
                faults.append(f"{shoot}: a border after --crop-active: {light:.2f}, {margins}")
            flats = list((place / "cut").glob("flat-field-*.dng"))
            if len(flats) != 1:
                sys.exit(f"{shoot}: {len(flats)} flat-field frames")
            mean = lambda names: np.mean([green(folder / n) for n in names], axis=0)
            ratio = mean(frames["filtered"]) / mean(frames["bare"])
            before, after = spread(ratio), spread(ratio / green(flats[0]))
            if before < UNEVEN or after > FLAT:
                faults.append(f"{shoot}: uneven by {before:.4f}, {after:.4f} with its flat field")
            print(f"{shoot}: darkest edge {dark:.2f} and {light:.2f}; uneven by {before:.4f} and {after:.4f}")
    sys.exit("\n".join(faults) if faults else 0)


main()
