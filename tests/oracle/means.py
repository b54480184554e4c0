#!/usr/bin/env python3
"""Mean of every colour of every raw file, through LibRaw (rawpy) and numpy: the plain way.

    python3 tests/oracle/means.py FILE...

Prints the seconds it took (start of Python and its modules not counted) as its last line.
"""

import sys
import time

import numpy as np
import rawpy

began = time.perf_counter()
for path in sys.argv[1:]:
    with rawpy.imread(path) as raw:
        counts, colours = raw.raw_image_visible, raw.raw_colors_visible
        means = [float(np.mean(counts[colours == c])) for c in range(4) if (colours == c).any()]
    print(path, *(f"{m:.3f}" for m in means))
print(time.perf_counter() - began)
