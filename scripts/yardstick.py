#!/usr/bin/env python3
"""Follows the marks of one clip the plain way, as the yardstick for speed.

What a user of OpenCV would write: read the clip with VideoCapture, turn every
frame grey, follow each mark with pyramidal Lucas-Kanade over whole frames,
check it by following it back, and write a CSV. It goes forward from the first
marked frame; a mark of a later frame sets its landmark anew. With --whole it then
goes from that frame back to the beginning, for which it has kept the grey frames
before it. OpenCV uses as many threads as it likes, and buffers are reused where it
lets them be.

    yardstick.py [--whole] CLIP MARKS.json OUT.csv
"""
import csv
import json
import sys

import cv2
import numpy as np

LUCAS_KANADE = dict(
    winSize=(21, 21),
    maxLevel=3,
    criteria=(cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 0.01),
)
MOST_BACK = 1.0  # px between a point and where following it back ends.


def follow(before, gray, points):
    """Returns where points went, and how far from each following it back ends."""
    names = list(points)
    a = np.array([points[n] for n in names], np.float32).reshape(-1, 1, 2)
    b, ok, _ = cv2.calcOpticalFlowPyrLK(before, gray, a, None, **LUCAS_KANADE)
    c, ok2, _ = cv2.calcOpticalFlowPyrLK(gray, before, b, None, **LUCAS_KANADE)
    off = np.linalg.norm((a - c).reshape(-1, 2), axis=1)
    good = [i for i in range(len(names)) if ok[i] and ok2[i] and off[i] < MOST_BACK]
    return {names[i]: tuple(b[i, 0]) for i in good}, {names[i]: off[i] for i in good}


def main(whole, clip, marks_file, out):
    with open(marks_file, encoding="utf-8") as f:
        marks = {}
        for m in json.load(f)["marks"]:
            if not m.get("hidden"):
                marks.setdefault(m["frame"], {})[m["landmark"]] = (m["x"], m["y"])
    first = min(marks)
    video = cv2.VideoCapture(clip)
    if not video.isOpened():
        sys.exit(f"can't open {clip}")
    with open(out, "w", newline="", encoding="utf-8") as f:
        rows = csv.writer(f)
        rows.writerow(["frame", "landmark", "x", "y", "back_px"])

        def write(frame, points, back):
            for n, (x, y) in points.items():
                rows.writerow([frame, n, f"{x:.3f}", f"{y:.3f}", f"{back.get(n, 0):.3f}"])

        points, kept = {}, []
        gray = before = picture = None
        frame = -1
        while True:
            good, picture = video.read(picture)
            if not good:
                break
            frame += 1
            room = None if whole and frame <= first + 2 else before  # What is kept is not written over.
            gray, before = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY, room), gray
            if whole and frame <= first:
                kept.append(gray)
            back = {}
            if points:
                points, back = follow(before, gray, points)
            points.update(marks.get(frame, {}))
            write(frame, points, back)
        points = dict(marks[first])
        for frame in range(first - 1, -1, -1) if whole else ():
            if not points:
                break
            points, back = follow(kept[frame + 1], kept[frame], points)
            write(frame, points, back)


if __name__ == "__main__":
    words = sys.argv[1:]
    whole = words[:1] == ["--whole"]
    if len(words) - whole != 3:
        sys.exit(__doc__)
    main(whole, *words[whole:])
