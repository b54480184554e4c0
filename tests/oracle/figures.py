"""Holds the figures that a reader meets against each other: for every filter that the demo measured,
those of its page, of the terminal, of a card of its own and of its profile. Nothing of the program is
imported; times are worked out from the profile's stops by the rule that the card states.

    figures.py PROGRAM DEMO_FOLDER DEMO_TEXT SCRATCH_FOLDER
"""

import html.parser
import json
import math
import pathlib
import re
import subprocess
import sys

FAULTS = []
COMPARED = {}
NUMBER = r"[-+\u2212]?[\d\u202f]+(?:\.\d+)?"
# Dial markings in thirds of a stop (ISO 516) from 30 s down.
DIAL = """30 25 20 15 13 10 8 6 5 4 3.2 2.5 2 1.6 1.3 1 0.8 0.6 0.5 0.4 0.3 1/4 1/5 1/6 1/8 1/10 1/13
1/15 1/20 1/25 1/30 1/40 1/50 1/60 1/80 1/100 1/125 1/160 1/200 1/250 1/320 1/400 1/500 1/640 1/800
1/1000""".split()
# Photographers name the light by kelvin in steps of fifty up to 10000 K.
KELVIN_STEP = 50
DAYLIGHT = 5500
# How well Krystek's formula gives differences on the mired scale: some kelvin at 5500 K.
NEAR_KELVIN = 2


def black_body(mired):
    """Chromaticity (u, v of 1960) of a black body: M. Krystek, Color Research and Application 10 (1985),
    coefficients from memory."""
    t = 1e6 / mired
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t**2) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t**2)
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t**2) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t**2)
    return u, v


def daylight(kelvin):
    """XYZ of a phase of daylight (CIE 15:2018), from 4000 K."""
    t = 1e3 / kelvin
    if kelvin <= 7000:
        x = 0.244063 + 0.09911 * t + 2.9678 * t**2 - 4.6070 * t**3
    else:
        x = 0.237040 + 0.24748 * t + 1.9018 * t**2 - 2.0064 * t**3
    y = -3 * x**2 + 2.87 * x - 0.275
    return [x / y, 1, (1 - x - y) / y]


def times(matrix, vector):
    return [sum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


def solved(matrix, vector):
    """The vector that the matrix takes to this one, by Cramer's rule."""
    def det(m):
        (a, b, c), (d, e, f), (g, h, i) = m
        return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    def put(column):
        return [row[:column] + [v] + row[column + 1:] for row, v in zip(matrix, vector, strict=True)]
    return [det(put(column)) / det(matrix) for column in range(3)]


def mired(xyz):
    """Of the nearest black body in u, v of 1960, by golden section."""
    below = xyz[0] + 15 * xyz[1] + 3 * xyz[2]
    here = (4 * xyz[0] / below, 6 * xyz[1] / below)
    low, high, part = 60, 600, (math.sqrt(5) - 1) / 2
    while high - low > 1e-6:
        a, b = high - part * (high - low), low + part * (high - low)
        if math.dist(black_body(a), here) < math.dist(black_body(b), here):
            high = b
        else:
            low = a
    return (low + high) / 2


def seen_shift(kelvin, gains, matrix):
    """By how many mired a filter with these raw gains moves daylight as this camera sees it."""
    bare = times(matrix, daylight(kelvin))
    behind = [c / gains[name] for c, name in zip(bare, ("red", "green", "blue"), strict=True)]
    return mired(solved(matrix, behind)) - mired(solved(matrix, bare))


class Text(html.parser.HTMLParser):
    """Words of a page, by paragraph; cells of a row are told apart by bars."""

    BREAKS = {"p", "h1", "h2", "h3", "tr", "li", "section", "caption", "text", "dt", "dd", "title", "desc"}

    def __init__(self, path):
        super().__init__()
        self.words, self.silent = [], 0
        self.feed(path.read_text(encoding="utf-8"))
        text = re.sub(r"[ \u00a0]+", " ", "".join(self.words)).replace("\u2212", "-")
        self.lines = [line.strip() for line in text.split("\n") if line.strip()]
        self.all = "\n".join(self.lines)
        self.flat = re.sub(r"\s+", " ", self.all)

    def handle_starttag(self, tag, attributes):
        self.silent += tag in ("style", "script")
        if tag in self.BREAKS:
            self.words.append("\n")
        if tag in ("td", "th"):
            self.words.append(" | ")

    def handle_endtag(self, tag):
        self.silent -= tag in ("style", "script")
        if tag in self.BREAKS:
            self.words.append("\n")

    def handle_data(self, data):
        if not self.silent:
            self.words.append(re.sub(r"\s+", " ", data))

    def rows(self, *start):
        """Cells of the rows that begin with these cells."""
        cut = [[c.strip() for c in line.strip("| ").split("|")] for line in self.lines if "|" in line]
        return [row for row in cut if tuple(row[: len(start)]) == start]


def number(text):
    return float(text.replace("\u202f", "").replace("\u2212", "-"))


def agrees(text, value):
    """A printed figure is the number to half its last place."""
    places = len(text.split(".")[1]) if "." in text else 0
    return abs(number(text) - value) <= 0.5 * 10**-places * (1 + 1e-9)


def hold(name, place, found, expected):
    """Texts of one place against the profile's numbers."""
    COMPARED[place] = COMPARED.get(place, 0) + 1
    if found is None:
        FAULTS.append(f"{name}: {place} says nothing where the profile has {expected}")
    elif len(found) != len(expected) or not all(map(agrees, found, expected)):
        FAULTS.append(f"{name}: {place} says {found}, the profile {expected}")


def same(name, place, found, expected):
    COMPARED[place] = COMPARED.get(place, 0) + 1
    if found != expected:
        FAULTS.append(f"{name}: {place} says {found}, not {expected}")


def first(pattern, text):
    """Groups of the first match, N standing for a figure and +- for both spellings."""
    pattern = pattern.replace("+-", r"(?:\+-|±)").replace("N", f"({NUMBER})")
    match = re.search(pattern, text)
    return list(match.groups()) if match else None


def shown(seconds):
    """A time as the card says that it gives times."""
    if seconds > 1800:
        return "\u2013"
    if seconds <= 32.5:
        return DIAL[15 - round(3 * math.log2(seconds))] + " s"
    step = 30 if seconds > 900 else 5 if seconds > 240 else 1
    whole = math.floor(seconds / step + 0.5) * step
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min {whole % 60} s" if whole % 60 else f"{whole // 60} min"


def behind(dial):
    return 2 ** ((15 - DIAL.index(dial)) / 3)


class Filter:
    def __init__(self, section, profile, page, card, card_said):
        self.said = section
        self.flat = re.sub(r"\s+", " ", section)
        self.page, self.card, self.card_said = page, card, re.sub(r"\s+", " ", card_said)
        self.profile = profile
        self.name = profile["filter"]["name"]
        self.kind = profile["filter"]["kind"]
        self.settings = profile["settings"]

    def everywhere(self, what, pattern, expected, places=("terminal", "page")):
        texts = {"terminal": self.flat, "page": self.page.flat, "card": self.card.flat, "card's terminal": self.card_said}
        for place in places:
            hold(f"{self.name}, {what}", place, first(pattern, texts[place]), expected)

    def check(self):
        {"solid": self.solid, "variable": self.variable, "graduated": self.graduated}[self.kind]()
        if self.kind != "variable":
            self.colour()
        if "picture" in self.profile:
            self.picture()

    def solid(self):
        strength = self.settings[0]["strength"]
        stops, u95 = strength["stops"], strength["u95"]
        self.everywhere("strength", "takes N +- N stops", [stops, u95], ("terminal",))
        self.everywhere("strength", "N +- N stops", [stops, u95], ("page",))
        self.everywhere("answer", "takes N stops", [stops], ("page",))
        # A card has hundredths at the finest, and claims no more than one.
        carded = max(u95, 0.01)
        clicks = [stops, carded, round(3 * stops)]
        self.everywhere("clicks", "N +- N stops, N clicks", clicks, ("card", "card's terminal"))
        self.everywhere("clicks", "count N clicks", [clicks[2]], ("page",))
        hold(f"{self.name}, strength", "card", first("N +- N", " ".join(self.card.rows("stops")[0])), [stops, carded])
        self.times(stops)
        spread = self.settings[0]["evenness"]["spread_stops"]
        self.everywhere("evenness", "N stop across the frame", [spread])

    def times(self, stops):
        """The terminal's few times, the page's and the card's."""
        metered = re.findall(r"[\d/.]+(?= s)", re.search(r"(?m)^metered\s{2,}(.*)$", self.said)[1])
        becomes = re.split(r"\s{2,}", re.search(r"(?m)^becomes\s+(.*)$", self.said)[1].strip())
        same(f"{self.name}, times", "terminal", becomes, [shown(behind(m) * 2**stops) for m in metered])
        for m in DIAL[DIAL.index("1"):DIAL.index("1/500") + 1:3]:
            right = shown(behind(m) * 2**stops)
            for place, text in (("page", self.page), ("card", self.card)):
                row = text.rows(f"{m} s")
                same(f"{self.name}, metered {m}", place, row and row[0][1], right)

    def variable(self):
        strengths = [s["strength"]["stops"] for s in self.settings]
        ends = [min(strengths), max(strengths)]
        self.everywhere("range", "takes from N to N stops", ends)
        usable = self.profile["usable"]
        last = [number(usable["last_mark"]), usable["last_stops"]]
        self.everywhere("last mark", r"Turn it no further than mark N \(N stops\)", last)
        self.everywhere("last mark", "Even enough up to mark N", last[:1], ("card",))
        widest = {w["mark"]: w["focal_length_mm"] for w in self.profile["polariser_pair"]["widest_lens_mm"]}
        row = re.search(r"(?m)^widest lens, mm\s+(.*)$", self.said)[1].split()
        for setting, lens in zip(self.settings, row, strict=True):
            mark, strength = setting["mark"], setting["strength"]
            pair = [strength["stops"], strength["u95"]]
            spread = setting["evenness"]["spread_stops"]
            what = f"mark {mark}"
            self.everywhere(what, rf"(?<=\s){mark} N +- N N (?:absent|forming|present)", [*pair, spread], ("terminal",))
            for place, text in (("page", self.page), ("card", self.card)):
                rows = [r for r in text.rows() if re.split(r"[, ]", r[0])[0] == mark and len(r) > 1]
                both = [found for r in rows if (found := first("^N +- N", r[1]))]
                hold(f"{self.name}, {what}", place, both[0] if both else None, pair)
                wide = [r for r in rows if len(r) > 3 and re.fullmatch(r"\d+ mm|none", r[3])]
                if place == "card":
                    same(f"{self.name}, widest lens of {what}", place, wide and wide[0][3].split()[0], lens)
            if lens != "none":
                hold(f"{self.name}, widest lens of {what}", "terminal", [lens], [math.ceil(widest[mark] - 1e-9)])

    def graduated(self):
        graduation = self.profile["graduation"]
        dark, u95 = graduation["dark_end_stops"], graduation["dark_end_u95"]
        self.everywhere("dark end", "takes N +- N stops more than the clear end", [dark, u95], ("terminal",))
        self.everywhere("dark end", "takes N stops more than the clear end", [dark], ("page",))
        self.everywhere("dark end", "N +- N stops", [dark, u95], ("page",))
        self.everywhere("dark end", "Dark end N +- N stops below the clear end", [dark, u95], ("card",))
        width = [graduation["width_percent_of_height"]]
        self.everywhere("width", "N % of the frame's height", width, ("terminal", "page", "card"))
        clear = graduation["clear_end_stops"]
        self.everywhere("clear end", "clear end itself takes N stop", [clear], ("terminal",))
        of_clear = [clear, graduation["clear_end_u95"]]
        self.everywhere("clear end", "clear end itself takes N +- N stop", of_clear, ("card",))

    def colour(self):
        cast = self.settings[0]["cast"]
        shift, u95 = cast["mired_shift"]["value"], cast["mired_shift"]["u95"]
        # Said as warmer or cooler by so much; signed where nothing shows.
        for place, text in (("terminal", self.flat), ("page", self.page.flat)):
            found = first(r"((?:warmer|cooler) by |uncertainty: )N +- N mired", text)
            if found and found[0] != "uncertainty: ":
                same(f"{self.name}, direction", place, found[0], "warmer by " if shift > 0 else "cooler by ")
                found[1] = found[1] if shift > 0 else "-" + found[1]
            hold(f"{self.name}, mired", place, found and found[1:], [shift, u95])
        gains, doubts = cast["gains"], cast["gains_u95"]
        both = [gains["red"], doubts["red"], gains["blue"], doubts["blue"]]
        self.everywhere("gains", r"[Rr]aw gains red N +- N, blue N +- N", both, ("terminal",))
        rows = [self.page.rows(c) for c in ("red", "blue")]
        found = [figure for r in rows for figure in (first("^N +- N$", r[0][1]) if r else None) or []]
        hold(f"{self.name}, gains", "page", found, both)
        # The shift is in mired, a million over kelvin (CIE 15:2018): what is warmer needs fewer kelvin;
        # and the camera sees another shift in daylight than in the light of the measurement.
        flat = self.profile["camera"]["colour_matrix"]["xyz_to_camera"]
        matrix, light = [flat[0:3], flat[3:6], flat[6:9]], self.profile["light"]["cct_k"]
        otherwise = seen_shift(DAYLIGHT, gains, matrix) - seen_shift(light, gains, matrix)
        kelvin = 1e6 / (1e6 / DAYLIGHT + shift + otherwise)
        for place, text in (("page", self.page.flat), ("card", self.card.flat)):
            found = first(f"daylight of {DAYLIGHT} K set N K", text)
            if re.search(f"daylight of {DAYLIGHT} K (keep its kelvin|leave the white balance)", text):
                found = [str(DAYLIGHT)]
            COMPARED[place] += 1
            if not found or abs(number(found[0]) - kelvin) > KELVIN_STEP / 2 + NEAR_KELVIN:
                FAULTS.append(f"{self.name}, kelvin: {place} says {found}, the profile {kelvin:.0f}")
        words = cast["words"]
        for place, text in (("terminal", self.flat), ("page", self.page.flat), ("card", self.card.flat)):
            same(f"{self.name}, cast in words", place, words.lower() in text.lower(), True)

    def picture(self):
        picture = self.profile["picture"]
        ratio = picture["sharpness_ratio"]
        if first("loses N", self.flat):
            lost = [100 * (1 - ratio["value"]), 100 * ratio["u95"]]
            self.everywhere("sharpness", "loses N +- N % of its sharpness", lost)
        else:
            self.everywhere("sharpness", r"\(ratio N +- N\)", [ratio["value"], ratio["u95"]])
        veil = picture["veiling_glare"]
        added, lift = veil["added"], [veil["shadow_lift_stops"], veil["shadow_lift_u95"]]
        self.everywhere("veil", "adds N +- N % of the light", [added["value"], added["u95"]])
        self.everywhere("veil", "below white by N +- N stop", lift)
        for ghost in picture["ghosts"]:
            self.everywhere("ghost", "N +- N stops weaker, at N % from the left and N % from the top",
                            [ghost[k] for k in ("stops", "u95", "x_percent", "y_percent")])


def measured(text):
    """What the terminal said of each filter, by the folder of its profile."""
    for section in re.split(r"(?m)^> lightloss ", text)[1:]:
        words = section.split("\n", 1)
        out = re.match(r"measure .*--out (\S+)", words[0])
        if out:
            yield pathlib.PurePath(out[1]).name, words[1]


def main():
    program, demo, said, scratch = sys.argv[1], *map(pathlib.Path, sys.argv[2:5])
    sections = dict(measured(said.read_text(encoding="utf-8")))
    folders = sorted(p.parent for p in demo.glob("*/profile.json"))
    if not folders or {f.name for f in folders} != set(sections):
        sys.exit(f"profiles {[f.name for f in folders]}, but the terminal told of {list(sections)}")
    for folder in folders:
        out = scratch / "card" / folder.name
        card_said = subprocess.run([program, "card", folder, "--out", out], check=True, capture_output=True, text=True)
        profile = json.loads((folder / "profile.json").read_text(encoding="utf-8"))
        Filter(sections[folder.name], profile, Text(folder / "report.html"), Text(out / "card.html"), card_said.stdout).check()
    print(f"{len(folders)} filters, figures compared: {COMPARED}; {len(FAULTS)} faults")
    for fault in FAULTS:
        print(fault, file=sys.stderr)
    if FAULTS or not all(COMPARED.get(place) for place in ("terminal", "page", "card")):
        sys.exit(1)


main()
