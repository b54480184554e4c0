#!/usr/bin/env python3
"""Collects the licence texts of every crate that the program is linked from.

    LICENSES/collect.py            writes LICENSES/third-party.txt
    LICENSES/collect.py --check    fails where that file is not what would be written
"""

import collections, json, pathlib, re, subprocess, sys

HERE = pathlib.Path(__file__).resolve().parent
KEPT = HERE / "third-party.txt"
NAMES = re.compile(r"^(licen[cs]e|copying|notice|unlicense|copyright)", re.IGNORECASE)


def metadata():
    words = ["cargo", "metadata", "--locked", "--format-version", "1"]
    return json.loads(subprocess.run(words, cwd=HERE.parent, check=True, capture_output=True).stdout)


def linked(data):
    """Packages that end up in the program, on any system: neither tests nor what only builds."""
    nodes = {node["id"]: node for node in data["resolve"]["nodes"]}
    root = next(p["id"] for p in data["packages"] if p["name"] == "lightloss")
    found, waiting = set(), [root]
    while waiting:
        for dep in nodes[waiting.pop()]["deps"]:
            normal = any(kind["kind"] is None for kind in dep["dep_kinds"])
            if normal and dep["pkg"] not in found:
                found.add(dep["pkg"])
                waiting.append(dep["pkg"])
    return sorted((p for p in data["packages"] if p["id"] in found), key=lambda p: (p["name"], p["version"]))


def texts(package):
    folder = pathlib.Path(package["manifest_path"]).parent
    places = [folder] + [p for p in folder.iterdir() if p.is_dir() and NAMES.match(p.name)]
    files = [p for place in places for p in sorted(place.iterdir()) if p.is_file() and NAMES.match(p.name)]
    for path in files:
        text = path.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n").replace("\f", "")
        yield "\n".join(line.rstrip() for line in text.strip().split("\n"))


def document():
    packages = linked(metadata())
    holders = collections.OrderedDict()
    lines = ["What lightloss is linked from, and the licence texts that come with it.", ""]
    for package in packages:
        licence = package["license"] or "see its text"
        lines.append(f"{package['name']} {package['version']}: {licence}")
        for text in texts(package):
            # The same text in another line width is the same text.
            key = re.sub(r"\W+", " ", text).lower()
            holders.setdefault(key, (text, []))[1].append(package["name"])
    for text, names in holders.values():
        lines += ["", "-" * 78, ", ".join(sorted(set(names))), "-" * 78, "", text]
    return "\n".join(lines) + "\n"


def main():
    text = document()
    if sys.argv[1:] == ["--check"]:
        if not KEPT.exists() or KEPT.read_text(encoding="utf-8") != text:
            sys.exit(f"{KEPT.name} is not of these crates; run LICENSES/collect.py")
        print(f"{KEPT.name} is of these crates")
    else:
        KEPT.write_text(text, encoding="utf-8")


main()
