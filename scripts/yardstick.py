#!/usr/bin/env python3
"""Follows the marks of one clip the plain way, as the yardstick for speed.

What a user of OpenCV would write: read the clip with VideoCapture, turn every
frame grey, follow each mark with pyramidal Lucas-Kanade over whole frames,
check it by following it back, and write a CSV. It goes forward from the first
marked frame; a mark of a later frame sets its landmark anew. OpenCV uses as
many threads as it likes, and buffers are reused where it lets them be.

    yardstick.py CLIP MARKS.json OUT.csv
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


def main(clip, marks_file, out):
    with open(marks_file, encoding="utf-8") as f:
        marks = {}
        for m in json.load(f)["marks"]:
            if not m.get("hidden"):
                marks.setdefault(m["frame"], {})[m["landmark"]] = (m["x"], m["y"])
    video = cv2.VideoCapture(clip)
    if not video.isOpened():
        sys.exit(f"can't open {clip}")
    points = {}
    gray = before = None
    with open(out, "w", newline="", encoding="utf-8") as f:
        rows = csv.writer(f)
        rows.writerow(["frame", "landmark", "x", "y", "back_px"])
        frame, picture = -1, None
        while True:
            good, picture = video.read(picture)
            if not good:
                break
            frame += 1
            gray, before = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY, before), gray
            back = {}
            if points:
                names = list(points)
                a = np.array([points[n] for n in names], np.float32).reshape(-1, 1, 2)
                b, ok, _ = cv2.calcOpticalFlowPyrLK(before, gray, a, None, **LUCAS_KANADE)
                c, ok2, _ = cv2.calcOpticalFlowPyrLK(gray, before, b, None, **LUCAS_KANADE)
                off = np.linalg.norm((a - c).reshape(-1, 2), axis=1)
                points = {}
                for i, n in enumerate(names):
                    if ok[i] and ok2[i] and off[i] < MOST_BACK:
                        points[n] = tuple(b[i, 0])
                        back[n] = off[i]
            points.update(marks.get(frame, {}))
            for n, (x, y) in points.items():
                rows.writerow([frame, n, f"{x:.3f}", f"{y:.3f}", f"{back.get(n, 0):.3f}"])


if __name__ == "__main__":
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    main(*sys.argv[1:])
