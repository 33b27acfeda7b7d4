#!/usr/bin/env python3
"""Tests `clearance.ply` against every triangle of the opposing scan, in NumPy and in double precision.

    python3 tests/reference/clearance.py [--saddleroom target/release/saddleroom] [--opening X,Y,Z] [TISSUE OPPOSING]

Without files: the sample pair, then real scans from SADDLEROOM_REAL_SCANS or ../shared/real-scans (each against its own
mirror image in the occlusal plane), each left out with a printed reason where it is missing.

For 1,000 vertices: nearest_mm is the distance to the nearest of all triangles; along_mm, where positive, is the first
crossing of the ray along the opening direction, and where negative a crossing behind the vertex; within 1 um.
Needs NumPy only.
"""
import argparse
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from shared.ply import read_ply

ROOT = pathlib.Path(__file__).resolve().parents[2]


def corners_of(path):
    """Triangles (n, 3, 3) of a binary STL or a binary little-endian PLY."""
    data = pathlib.Path(path).read_bytes()
    if data.startswith(b"ply"):
        table, faces = read_ply(path)
        return np.stack([table["x"], table["y"], table["z"]], 1).astype(float)[faces]
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 + 50 * count:
        sys.exit(f"{path}: neither a binary STL nor a PLY")
    rows = np.frombuffer(data, dtype=np.dtype([("f", "<f4", 12), ("a", "<u2")]), count=count, offset=84)
    return rows["f"][:, 3:].reshape(-1, 3, 3).astype(float)


def nearest(p, t):
    """Distance from p to the nearest of the triangles t: the plane's where its foot lies inside, else the sides'."""
    a, b, c = t[:, 0], t[:, 1], t[:, 2]
    normal = np.cross(b - a, c - a)
    area2 = np.einsum("ij,ij->i", normal, normal)
    inside = area2 > 0
    least = np.full(len(t), np.inf)
    for u, v in ((a, b), (b, c), (c, a)):
        side, out = v - u, p - u
        inside &= np.einsum("ij,ij->i", np.cross(side, out), normal) >= 0
        share = np.clip(np.einsum("ij,ij->i", side, out) / np.einsum("ij,ij->i", side, side), 0, 1)
        least = np.minimum(least, np.linalg.norm(out - side * share[:, None], axis=1))
    height = np.abs(np.einsum("ij,ij->i", normal, p - a)) / np.sqrt(np.where(inside, area2, 1))
    return np.where(inside, height, least).min()


def crossings(p, d, t):
    """Signed distances along d at which the line through p crosses triangles, and whether each faces against d."""
    ab, ac = t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]
    h = np.cross(d, ac)
    det = np.einsum("ij,ij->i", ab, h)
    safe = np.where(np.abs(det) > 1e-14, det, 1)
    s = p - t[:, 0]
    u = np.einsum("ij,ij->i", s, h) / safe
    q = np.cross(s, ab)
    v = q @ d / safe
    hit = (np.abs(det) > 1e-14) & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    return (np.einsum("ij,ij->i", ac, q) / safe)[hit], (np.cross(ab, ac) @ d < 0)[hit]


def test(saddleroom, tissue, opposing, opening, name):
    with tempfile.TemporaryDirectory() as out:
        command = [saddleroom, "clearance", tissue, opposing, "--out", out, "--quiet", "--format", "json"]
        if opening is not None:
            command += ["--opening=" + ",".join(repr(float(v)) for v in opening)]
        done = subprocess.run(command, capture_output=True, text=True)
        if done.returncode == 2:
            print(f"{name}: FAILED, exit 2: {done.stderr.strip()[:400]}")
            return False
        summary = json.loads(pathlib.Path(out, "clearance.json").read_text())
        table, _ = read_ply(pathlib.Path(out, "clearance.ply"))
    d = np.array(summary["opening"], dtype=float)
    t = corners_of(opposing)
    points = np.stack([table["x"], table["y"], table["z"]], 1).astype(float)
    chosen = np.random.default_rng(1).permutation(len(points))[:1000]
    worst_nearest = worst_along = 0.0
    wrong = []
    # A file of floats cannot hold more than this of a position.
    grain = 2e-7 * np.abs(points).max() if table["x"].dtype.itemsize == 4 else 0.0
    for v in chosen:
        p, along, near = points[v], float(table["along_mm"][v]), float(table["nearest_mm"][v])
        error = abs(abs(near) - nearest(p, t))
        worst_nearest = max(worst_nearest, error)
        at, faces_tissue = crossings(p, d, t)
        ahead = at[(at >= -1e-6) & faces_tissue]
        if np.isnan(along):
            if len(at[at > 1e-6]) and faces_tissue[at > 1e-6][np.argmin(at[at > 1e-6])]:
                wrong.append((int(v), "nothing read under a surface that faces the tissue"))
            continue
        truth = at[at >= -1e-6].min(initial=np.inf) if along >= 0 else at[np.argmin(np.abs(at - along))] if len(at) else np.inf
        if along >= 0 and len(ahead) and abs(truth - along) > 1e-3:
            truth = ahead.min()
        worst_along = max(worst_along, abs(truth - along))
        if near * along < 0:
            wrong.append((int(v), "along and nearest differ in sign"))
    allowed = 1e-3 + 3 * grain
    good = worst_nearest <= allowed and worst_along <= allowed and not wrong
    print(f"{name}: nearest within {worst_nearest * 1e3:.4f} um, along within {worst_along * 1e3:.4f} um "
          f"of every triangle over {len(chosen)} vertices{'' if good else '  FAILED ' + str(wrong[:3])}")
    return good


def write_stl(path, corners):
    rows = np.zeros(len(corners), dtype=np.dtype([("f", "<f4", 12), ("a", "<u2")]))
    rows["f"][:, 3:] = corners.reshape(-1, 9)
    pathlib.Path(path).write_bytes(b"mirror image".ljust(80) + len(corners).to_bytes(4, "little") + rows.tobytes())


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="*")
    parser.add_argument("--saddleroom", default=str(ROOT / "target/release/saddleroom"))
    parser.add_argument("--opening")
    args = parser.parse_args()
    if len(args.files) == 1:  # the program alone: all samples with it
        args.saddleroom, args.files = args.files[0], []
    if args.files:
        opening = [float(v) for v in args.opening.split(",")] if args.opening else None
        sys.exit(0 if test(args.saddleroom, *args.files[:2], opening, args.files[0]) else 1)
    good = True
    for sample in sorted(path for path in ROOT.glob("sample-meshes/*") if (path / "maxilla.stl").exists()):
        lower, upper = sample / "mandible.stl", sample / "maxilla.stl"
        if lower.exists() and upper.exists():
            # The occlusal plane of every sample is z = 0, the maxilla above it.
            good &= test(args.saddleroom, str(lower), str(upper), np.array([0.0, 0.0, 1.0]), sample.name)
        else:
            print(f"{sample.name}: left out, not both arches are there")
    scans = pathlib.Path(os.environ.get("SADDLEROOM_REAL_SCANS", ROOT / "../shared/real-scans"))
    if not scans.is_dir():
        print(f"real scans: left out, no folder {scans}")
    for path in sorted(scans.glob("*.labels.json")) if scans.is_dir() else []:
        name = path.name.removesuffix(".labels.json")
        normal = np.array(json.loads(path.read_text())["occlusal_plane"]["normal"], dtype=float)
        normal /= np.linalg.norm(normal)
        corners = corners_of(path.with_name(name + ".ply"))
        depth = (corners @ normal).max() - corners @ normal
        for moved in (3.0, -2.0):
            # Aside by an odd distance, so that no ray runs exactly through a corner or along a border.
            aside = 0.1371 * np.cross(normal, [0.6, 0.0, 0.8])
            image = (corners + (2 * depth + moved)[..., None] * normal + aside)[:, ::-1]
            with tempfile.TemporaryDirectory() as folder:
                image_file = pathlib.Path(folder, "image.stl")
                write_stl(image_file, image)
                good &= test(args.saddleroom, str(path.with_name(name + ".ply")), str(image_file), normal,
                             f"{name}, mirrored and moved by {moved} mm")
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
