#!/usr/bin/env python3
"""Are corrected DNG files what other programs expect? Ends with status 1 where one is not.

    python3 tests/oracle/corrected_dng.py FOLDER

FOLDER holds originals, `corrected/NAME-corrected.dng` and `planted.json` (per corrected name the
neutral and the corner gain in stops that were planted). LibRaw 0.22 (rawpy 0.28) must see the same counts as in the original and
the planted balance; the DNG SDK (dngpy 0.1.3) must read the file; exiftool must find neither error
nor warning.
"""

import json
import pathlib
import struct
import subprocess
import sys

import dngpy
import numpy as np
import rawpy

TOLERANCE = 1e-4


def gain_maps(path):
    """Tag 51009 as exiftool hands it out, read by the layout in the DNG specification, GainMap."""
    data = subprocess.run(
        ["exiftool", "-b", "-OpcodeList2", str(path)], capture_output=True, check=True
    ).stdout
    count, at, maps = struct.unpack(">I", data[:4])[0], 4, []
    for _ in range(count):
        number, _version, _flags, size = struct.unpack(">IIII", data[at : at + 16])
        body = data[at + 16 : at + 16 + size]
        at += 16 + size
        assert number == 9, number
        rows, columns = struct.unpack(">II", body[32:40])
        maps.append(np.frombuffer(body[76:], ">f4").reshape(rows, columns))
    assert at == len(data)
    return maps


def check(folder, name, neutral, corner):
    path = folder / "corrected" / f"{name}-corrected.dng"
    faults = []
    with rawpy.imread(str(folder / f"{name}.dng")) as a, rawpy.imread(str(path)) as b:
        if not np.array_equal(a.raw_image, b.raw_image):
            faults.append("counts")
        wanted = [1 / neutral[0], 1.0, 1 / neutral[2]]
        seen = np.array(b.camera_whitebalance[:3]) / b.camera_whitebalance[1]
        if np.abs(seen - wanted).max() > TOLERANCE * 3:
            faults.append(f"balance {seen} not {wanted}")
    said = subprocess.run(
        ["exiftool", "-validate", "-warning", "-error", "-a", str(path)], capture_output=True, text=True
    ).stdout
    # Exactly the verdict: no output at all would be no verdict.
    if [line.split(":")[-1].strip() for line in said.splitlines()] != ["OK"]:
        faults.append(said or "exiftool said nothing")
    dng = dngpy.Dng(str(path))
    with rawpy.imread(str(path)) as raw:
        if not np.array_equal(np.squeeze(dng.raw_pixels), raw.raw_image):
            faults.append("counts in the DNG SDK")
    maps = gain_maps(path)
    read = np.squeeze(dng.get_gainmap().to_numpy())
    if read.shape != maps[0].shape or np.abs(read - maps[0]).max() > 1e-6:
        faults.append("gain map in the DNG SDK")
    for grid in maps:
        if abs(np.log2(grid[0, 0]) - corner) > 0.02 or abs(np.log2(grid[16, 24])) > 0.01:
            faults.append("gain map")
    if len(maps) != 4:
        faults.append(f"{len(maps)} gain maps")
    return faults


def main():
    folder = pathlib.Path(sys.argv[1])
    planted = json.loads((folder / "planted.json").read_text())
    if not planted:
        sys.exit("nothing planted")
    bad = 0
    for name, (neutral, corner) in planted.items():
        faults = check(folder, name, neutral, corner)
        bad += bool(faults)
        print(name, "; ".join(map(str, faults)) or "as planted")
    sys.exit(1 if bad else 0)


main()
