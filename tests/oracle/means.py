#!/usr/bin/env python3
"""Mean of every colour of every raw file, through LibRaw (rawpy) and numpy: the plain way.

    python3 tests/oracle/means.py [--threads N] FILE...

LibRaw lets other threads of Python run while it decodes, and numpy while it adds up. Prints the
seconds it took (start of Python and its modules not counted) as its last line.
"""

import argparse
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import rawpy


def means(raw):
    """Four strided views where the pattern repeats every two pixels: several times as fast as masks."""
    counts = raw.raw_image_visible
    if raw.raw_pattern.shape == (2, 2):
        return [float(np.mean(counts[r::2, c::2])) for r in range(2) for c in range(2)]
    colours = raw.raw_colors_visible
    return [float(np.mean(counts[colours == c])) for c in range(4) if (colours == c).any()]


def line(path):
    with rawpy.imread(path) as raw:
        return " ".join([path, *(f"{m:.3f}" for m in means(raw))])


arguments = argparse.ArgumentParser()
arguments.add_argument("--threads", type=int, default=1)
arguments.add_argument("files", nargs="+")
given = arguments.parse_args()

began = time.perf_counter()
with ThreadPoolExecutor(given.threads) as pool:
    for text in pool.map(line, given.files):
        print(text)
print(time.perf_counter() - began)
