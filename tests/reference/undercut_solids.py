#!/usr/bin/env python3
"""Undercut depths of `saddleroom survey` and its block-out against formulas, on solids that this script makes.

    python tests/reference/undercut_solids.py target/release/saddleroom

Solids are written as STL, surveyed through the command line, and survey.ply is read by its own header. The 99th
percentile of the differences must be at most 0.010 mm beyond the chord error of the facets. The volume of the
block-out must agree within 1 %, that of the written solid within 2 %, and the solid must be closed.
Prints `skipped:` with the reason and ends with 0 where a package is missing.
"""
import json
import pathlib
import subprocess
import sys
import tempfile

try:
    import numpy as np
    import trimesh
    from shared.ply import read_ply
except ImportError as lacking:
    print(f"skipped: undercut of solids with known answers: {lacking}")
    sys.exit(0)

ROOT = pathlib.Path(__file__).resolve().parents[2]


def lathe(profile, around):
    """Triangles of a profile of (radius, height) turned about z; outward where the profile runs upward."""
    turn = 2 * np.pi * np.arange(around) / around
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    rows = [np.column_stack([ring * r, np.full(around, z)]) for r, z in profile]
    out = []
    for low, high in zip(rows, rows[1:]):
        nl, nh = np.roll(low, -1, axis=0), np.roll(high, -1, axis=0)
        out += [np.stack([low, nl, nh], axis=1), np.stack([low, nh, high], axis=1)]
    tri = np.concatenate(out)
    area = np.linalg.norm(np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]), axis=1)
    return tri[area > 1e-12]


def run(profile, edge):
    """A line of (radius, height) with steps of about an edge."""
    out = [np.asarray(profile[0], float)]
    for a, b in zip(profile, profile[1:]):
        n = max(1, int(np.ceil(np.linalg.norm(np.subtract(b, a)) / edge)))
        out += [np.asarray(a) + (np.subtract(b, a)) * (i + 1) / n for i in range(n)]
    return np.array(out)


def arc(centre, radii, start, end, n):
    t = np.radians(np.linspace(start, end, n + 1))
    return np.column_stack([centre[0] + radii[0] * np.cos(t), centre[1] + radii[1] * np.sin(t)])


def plate(half, edge, z=0.0):
    n = int(np.ceil(2 * half / edge))
    g = np.linspace(-half, half, n + 1)
    x, y = np.meshgrid(g, g, indexing="ij")
    p = np.stack([x, y, np.full_like(x, z)], axis=2)
    a, b, c, d = p[:-1, :-1], p[1:, :-1], p[1:, 1:], p[:-1, 1:]
    return np.concatenate([np.stack([a, b, c], 2).reshape(-1, 3, 3), np.stack([a, c, d], 2).reshape(-1, 3, 3)])


def write_stl(path, tri):
    record = np.zeros(len(tri), dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    # Without the last digits, so that the seam of a turned solid closes.
    record["p"] = np.round(tri, 6) + 0.0
    path.write_bytes(b"facets".ljust(80) + np.uint32(len(tri)).tobytes() + record.tobytes())


def turned(d):
    """Rotation that brings z to d."""
    d = np.asarray(d) / np.linalg.norm(d)
    u = np.cross([0.0, 1.0, 0.0], d)
    u /= np.linalg.norm(u)
    return np.column_stack([u, np.cross(d, u), d])


def survey(program, tri, way=(0.0, 0.0, 1.0)):
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        write_stl(folder / "solid.stl", tri)
        command = [program, "survey", str(folder / "solid.stl"), "--out", str(folder), "--quiet",
                   "--withdrawal=" + ",".join(f"{c:.17g}" for c in way)]
        done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False)
        if done.returncode not in (0, 1):
            raise SystemExit(done.stderr.decode())
        table, _ = read_ply(folder / "survey.ply")
        report = json.loads((folder / "survey.json").read_text())
        size = (folder / "blockout.stl").stat().st_size if (folder / "blockout.stl").exists() else 0
        solid = trimesh.load(folder / "blockout.stl") if size > 84 else None
        if solid is not None:
            _ = solid.triangles
    points = np.stack([table[k].astype(float) for k in "xyz"], axis=1)
    return points, table["undercut_mm"].astype(float), report, solid


def sphere(radius, edge):
    n = int(np.ceil(np.pi * radius / edge))
    return lathe(arc((0, 0), (radius, radius), -90, 90, n), 2 * n)


def barrels(radius, belly, rho, height, count, edge):
    """Barrels in a row in contact along x, each on z = 0, open below."""
    z = np.linspace(0, height, int(np.ceil(height / edge)) + 1)
    wall = np.column_stack([radius - (rho - np.sqrt(rho ** 2 - (z - belly) ** 2)), z])
    one = lathe(np.vstack([wall, run([wall[-1], (0, height)], edge)[1:]]), 4 * int(np.ceil(np.pi * radius / 2 / edge)))
    return np.concatenate([one + [2 * radius * i, 0, 0] for i in range(count)])


def row_depth(p, radius, count):
    """Least way in the plan to a place outside all bellies."""
    # In contact, no circle covers another's rim: all of it is free.
    centres = [np.hypot(p[:, 0] - 2 * radius * i, p[:, 1]) for i in range(count)]
    return np.min([np.abs(radius - c) for c in centres], axis=0)


def main():
    program = sys.argv[1] if len(sys.argv) > 1 else str(ROOT / "target/release/saddleroom")
    bad = []

    def depths(name, tri, expected, chord, way=(0.0, 0.0, 1.0), where=None):
        p, got, _, _ = survey(program, tri, way)
        want = expected(p)
        judged = ~np.isnan(want) & (np.ones(len(p), bool) if where is None else where(p))
        if judged.sum() < 50 or np.isnan(got[judged]).any():
            bad.append(f"{name}: {judged.sum()} vertices, some not measured")
            return
        off = np.abs(got - want)[judged]
        p99 = np.percentile(off, 99)
        print(f"{name}: {judged.sum()} vertices, chord {chord:.4f} mm, p99 {p99:.5f} mm, greatest {off.max():.5f} mm")
        if p99 > 0.010 + chord:
            bad.append(name)

    def ball(r, way):
        d = np.asarray(way) / np.linalg.norm(way)
        def depth(p):
            h = p @ d
            across = np.linalg.norm(p - h[:, None] * d, axis=1)
            return np.where(h < 0, np.maximum(r - across, 0), 0)
        return depth

    for r, edge, way in [(4.0, 0.12, (0, 0, 1)), (5.0, 0.15, (0.2, -0.1, 1)), (6.0, 0.25, (0, 0, 1))]:
        depths(f"sphere R {r} along {way}", sphere(r, edge), ball(r, way), 2 * edge ** 2 / (8 * r), way)
    # A plane wall, seen at 5, 10 and 15 degrees: depth = height below its upper edge times the tangent.
    for tilt in (5.0, 10.0, 15.0):
        t = np.tan(np.radians(tilt))
        box = plate(6.0, 0.3)[:, :, [2, 0, 1]]
        box[:, :, 2] -= 6.0
        wall = np.concatenate([box, plate(6.0, 0.6) * [1, 1, 1] - [6.0, 0, 0]])
        way = (-t, 0.0, 1.0)
        cos = np.cos(np.radians(tilt))
        depths(f"plane wall at {tilt}", wall, lambda p: np.abs(p[:, 2]) * np.sin(np.radians(tilt)) * np.ones(len(p)) + 0 * cos,
               0.0, way, lambda p: (np.abs(p[:, 0]) < 1e-6) & (np.abs(p[:, 1]) < 3.5) & (p[:, 2] > -9) & (p[:, 2] < -0.01))
    # An ellipsoid of revolution: its equator is the height of contour.
    a, c, n = 4.0, 6.0, 110
    depths("ellipsoid 4, 4, 6", lathe(arc((0, 0), (a, c), -90, 90, n), 220),
           lambda p: np.where(p[:, 2] < 0, np.maximum(a - np.hypot(p[:, 0], p[:, 1]), 0), 0), 0.0025)
    # Inverted cones, upright and tilted in the file: the same depths in their own axes.
    for tilt, way in [(5.0, (0, 0, 1)), (10.0, (0.3, 0.2, 1)), (15.0, (0, -0.4, 1))]:
        t, h, top, around = np.tan(np.radians(tilt)), 7.0, 4.0, 200
        q = turned(way)
        cone = lathe(run([(top - h * t, 0), (top, h), (0, h)], 0.15), around) @ q.T
        depths(f"inverted cone {tilt} along {way}", cone,
               lambda p: np.where((p @ q)[:, 2] < h - 1e-4, (h - (p @ q)[:, 2]) * t, 0.0),
               top * (np.pi / around) ** 2 / 2, way)
    # A ring: outside, the tube's outer equator; inside the hole the free place is in the hole.
    R, r = 4.0, 1.5
    ring = lathe(arc((R, 0), (r, r), -180, 180, 64), 200)
    depths("ring 4 / 1.5", ring,
           lambda p: np.where(p[:, 2] < -1e-6, r - np.abs(np.hypot(p[:, 0], p[:, 1]) - R), 0.0),
           R * (np.pi / 200) ** 2 + r * (np.pi / 64) ** 2 / 2)
    # Barrels in contact: between them the nearest free place is buccal or lingual.
    R, belly, rho, top = 4.0, 4.0, 8.0, 6.0
    row = barrels(R, belly, rho, top, 3, 0.2)
    depths("row of three barrels", row, lambda p: np.where(p[:, 2] < belly - 1e-6, row_depth(p, R, 3), 0.0),
           R * (np.pi / 128) ** 2 / 2 + 0.2 ** 2 / (8 * rho), where=lambda p: (p[:, 2] < belly) & (p[:, 2] > 0.01))

    def volume(name, tri, want, way=(0.0, 0.0, 1.0)):
        _, _, report, solid = survey(program, tri, way)
        got = report["blockout"]["volume_mm3"]
        print(f"{name}: block-out {got:.3f} mm3 for {want:.3f} ({100 * (got / want - 1):+.2f} %), solid {solid.volume:.3f} "
              f"({100 * (solid.volume / got - 1):+.2f} %), closed {solid.is_watertight}, {len(solid.faces)} triangles")
        if abs(got / want - 1) > 0.01 or abs(solid.volume / got - 1) > 0.02 or not solid.is_watertight:
            bad.append(name)

    volume("sphere R 5 over a plate", np.concatenate([sphere(5.0, 0.2) + [0, 0, 5.0], plate(8.0, 0.5)]), np.pi * 125 / 3)
    q = turned((0.3, -0.5, 1.0))
    volume("the same, leaning in the file", np.concatenate([sphere(5.0, 0.2) + [0, 0, 5.0], plate(8.0, 0.5)]) @ q.T,
           np.pi * 125 / 3, (0.3, -0.5, 1.0))
    for tilt in (5.0, 15.0):
        h, t = 6.0, np.tan(np.radians(tilt))
        box = trimesh.creation.box((4.0, 20.0, h)).triangles + [0, 0, h / 2]
        box = box + np.stack([box[:, :, 2] * t, 0 * box[:, :, 2], 0 * box[:, :, 2]], axis=2)
        volume(f"wall leaning {tilt} over a plate", np.concatenate([box, plate(14.0, 0.5)]), 20 * h * h * t / 2)
    cone = lathe(run([(0, 0), (3.0, 0), (4.0, 6.0), (0, 6.0)], 0.2), 200)
    volume("inverted cone on a plate", np.concatenate([cone, plate(7.0, 0.5)]), np.pi * 6 * (16 - 37 / 3))
    z = (np.arange(20000) + 0.5) * belly / 20000
    w = R - (rho - np.sqrt(rho ** 2 - (z - belly) ** 2))
    volume("barrel on a plate", np.concatenate([barrels(R, belly, rho, top, 1, 0.15), plate(7.0, 0.5)]),
           np.pi * (R ** 2 - w ** 2).mean() * belly)
    lid = trimesh.creation.box((8.0, 6.0, 1.0)).triangles + [0, 0, 3.5]
    volume("box under a lid", np.concatenate([lid, plate(7.0, 0.37)]), 8 * 6 * 3)
    if bad:
        raise SystemExit("does not agree: " + "; ".join(bad))


main()
