#!/usr/bin/env python3
"""Every entry of a source file that still holds must be in the corrected file, as exiftool reads both.

Usage: corrected_tags.py LIGHTLOSS PROFILE FILE...   (originals; each is corrected into a temporary folder)
"""
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

# Groups of exiftool whose entries describe the picture, not one file's layout or a maker's private notes.
GROUPS = ("IFD0", "ExifIFD", "GPS", "SubIFD", "SubIFD1", "SubIFD2", "XMP", "IPTC")
# What another file has of its own: where its data lies, how it is stored and previewed, who wrote it.
OF_THE_FILE = {
    "SubfileType", "OldSubfileType", "Compression", "StripOffsets", "StripByteCounts", "RowsPerStrip",
    "TileWidth", "TileLength", "TileOffsets", "TileByteCounts", "PlanarConfiguration", "PhotometricInterpretation",
    "BitsPerSample", "SamplesPerPixel", "ImageWidth", "ImageHeight", "XResolution", "YResolution",
    "ResolutionUnit", "JpgFromRaw", "JpgFromRawStart", "JpgFromRawLength", "PreviewImage", "PreviewImageStart",
    "PreviewImageLength", "ThumbnailImage", "ThumbnailOffset", "ThumbnailLength", "OtherImage", "OtherImageStart",
    "OtherImageLength", "YCbCrPositioning", "YCbCrSubSampling", "YCbCrCoefficients", "ReferenceBlackWhite",
    "TileDepth", "Predictor", "SampleFormat", "FillOrder", "JPEGTables", "PreviewDateTime", "PreviewColorSpace",
    "Software", "ProcessingSoftware", "XMPToolkit", "NewRawImageDigest", "RawImageDigest", "CacheVersion",
    "PreviewSettingsDigest", "PreviewSettingsName", "PreviewApplicationName", "PreviewApplicationVersion",
    "MakerNoteSafety", "PaddingBytes", "Padding", "OffsetSchema", "InteropIndex", "InteropVersion", "PrintImageMatching",
    "ExifImageWidth", "ExifImageHeight", "FlashpixVersion", "ComponentsConfiguration", "CompressedBitsPerPixel",
    "ThumbnailTIFF", "DNGVersion", "DNGBackwardVersion", "TIFF-EPStandardID", "MakerNote", "MakerNotes", "DataDump", "ApplicationNotes",
    "MakerNoteUnknownText", "MakerNoteUnknown", "LinearizationTable", "RowInterleaveFactor", "SubTileBlockSize",
    "MaskedAreas", "ActiveArea", "BlackLevel", "BlackLevelRepeatDim", "BlackLevelDeltaH", "BlackLevelDeltaV",
    "WhiteLevel", "CFALayout", "CFAPlaneColor", "CFARepeatPatternDim", "CFAPattern2", "AnalogBalance",
    "SensingMethod", "CFAPattern", "MetadataDate", "ModifyDate",
    # Of what the correction changes on purpose.
    "AsShotNeutral", "AsShotWhiteXY", "BaselineExposure", "OpcodeList2", "DNGPrivateData",
    # Matrices are kept as the camera's, its calibration multiplied in where that is not written beside.
    "ColorMatrix1", "ColorMatrix2", "CalibrationIlluminant1", "CalibrationIlluminant2",
    # Belongs to the original's own name.
    "OriginalRawFileName", "OriginalRawFileData", "OriginalRawFileDigest",
}


def tags(path):
    out = subprocess.run(
        ["exiftool", "-json", "-G1", "-n", "-a", "-u", "-struct", str(path)], capture_output=True, text=True
    ).stdout
    found = {}
    for name, value in json.loads(out)[0].items():
        group, _, tag = name.partition(":")
        if not tag or tag in OF_THE_FILE or tag.startswith("Exif_0x") or tag.startswith("Unknown"):
            continue
        if group in GROUPS or group.startswith("XMP"):
            found.setdefault(tag, []).append(value)
    return found


def close(a, b):
    """Rationals may be written in other terms, text without its padding."""
    if a == b:
        return True
    x, y = str(a).strip().split(), str(b).strip().split()
    if x == y:
        return True
    try:
        return len(x) == len(y) and all(
            abs(float(p) - float(q)) <= 1e-4 * max(1.0, abs(float(p))) for p, q in zip(x, y)
        )
    except ValueError:
        return False


def complaints(path):
    lines = subprocess.run(
        ["exiftool", "-validate", "-warning", "-error", "-a", "-s3", str(path)], capture_output=True, text=True
    ).stdout.splitlines()
    return {line for line in lines if line and line != "OK" and " Warning" not in line}


def kept_from_source(complaint, before):
    """Whether it is about an entry that the source has as well."""
    found = re.search(r"Non-standard \w+ tag 0x[0-9a-f]+ (\w+)", complaint)
    return found is not None and found[1] in before


def main():
    program, profile, *files = sys.argv[1:]
    faults = []
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [program, "correct", *files, "--profile", profile, "--white", "5500", "--out", folder],
            capture_output=True, text=True,
        )
        looked = 0
        for file in files:
            corrected = Path(folder) / (Path(file).stem + "-corrected.dng")
            if not corrected.exists():
                continue
            looked += 1
            before, after = tags(file), tags(corrected)
            for tag, values in before.items():
                kept = after.get(tag, [])
                if not any(close(v, k) for v in values for k in kept):
                    shown = str(values[0])[:60]
                    faults.append(f"{Path(file).name}: {tag} {shown!r} -> {str(kept)[:60]}")
            new = complaints(corrected) - complaints(file)
            # exiftool holds tags of TIFF/EP in Exif against DNG files only, not against the source's format.
            new = {line for line in new if not kept_from_source(line, before)}
            faults += [f"{Path(file).name}: exiftool -validate now says {line}" for line in sorted(new)]
        skipped = [line for line in done.stderr.splitlines() if line.startswith("skipped:")]
        unread = [line for line in skipped if ": unreadable: " in line]
        print(f"{looked} files compared, {len(faults)} entries amiss, {len(unread)} not readable")
        # Whatever can be read and is not bare is compared.
        bare = [line for line in skipped if ": made without a filter" in line]
        faults += [line for line in skipped if line not in unread + bare]
        if looked == 0:
            sys.exit("nothing was corrected:\n" + done.stderr)
    if faults:
        sys.exit("\n".join(faults))


main()
