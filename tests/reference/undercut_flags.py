#!/usr/bin/env python3
"""Undercut flags of `saddleroom survey` against a foreign ray caster (Embree), and against every triangle where they differ.

    python tests/reference/undercut_flags.py target/release/saddleroom [--poses N]

Each cast is surveyed along several directions; survey.ply is read by its own header. A ray is sent from every vertex
along the withdrawal direction; vertices nearer than 5 um to the silhouette of their own triangles are left out, since
there the answer hangs on the rounding of the ray caster's single precision. At least 99.99 % must agree, and where the
two differ, every triangle is tried in double precision: there the program must be right.
Casts: both arches of all of sample-meshes/, along the file's z axis and some seeded directions; one of them turned at random as
a whole (N poses, seeded; 20 for the full check, 4 without --poses); and the real scans of SADDLEROOM_REAL_SCANS or
../shared/real-scans where they are, all of them with --poses 20, else four.
Prints `skipped:` with the reason and ends with 0 where a package is missing.
"""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

try:
    import numpy as np
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh
    from shared.ply import read_ply
except ImportError as lacking:
    print(f"skipped: undercut flags against a ray caster: {lacking}")
    sys.exit(0)

ROOT = pathlib.Path(__file__).resolve().parents[2]


def silhouette(points, faces, d):
    """Vertices on or within 5 um (in the plan) of a contour edge of their own triangles."""
    u = np.cross(d, [1.0, 0.0, 0.0] if abs(d[0]) < 0.6 else [0.0, 1.0, 0.0])
    u /= np.linalg.norm(u)
    plan = np.stack([points @ u, points @ np.cross(d, u)], axis=1)
    a, b, c = (plan[faces[:, k]] for k in range(3))
    ab, ac = b - a, c - a
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    longest = np.sqrt(np.maximum.reduce([(ab ** 2).sum(1), (ac ** 2).sum(1), ((c - b) ** 2).sum(1)]))
    sign = np.where(np.abs(area) <= 1e-5 * longest, 0, np.sign(area)).astype(int)
    ends = np.concatenate([faces[:, [k, (k + 1) % 3]] for k in range(3)])
    along = np.where(ends[:, 0] < ends[:, 1], 1, -1)
    key = np.sort(ends, axis=1)
    _, first, which = np.unique(key[:, 0] * len(points) + key[:, 1], return_index=True, return_inverse=True)
    hand = np.tile(sign, 3) * along
    left = np.bincount(which, weights=hand > 0)
    right = np.bincount(which, weights=hand < 0)
    flat = np.bincount(which, weights=hand == 0)
    contour = (left == 0) | (right == 0) | (flat > 0)
    near = np.zeros(len(points), bool)
    near[key[first[contour]].ravel()] = True
    # The third corner of a triangle may lie near its contour edge.
    face_of = np.tile(np.arange(len(faces)), 3)
    for k in range(3):
        side = contour[which[k * len(faces):(k + 1) * len(faces)]]
        p, q, r = (plan[faces[side][:, (k + i) % 3]] for i in range(3))
        t = np.clip(((r - p) * (q - p)).sum(1) / np.maximum(((q - p) ** 2).sum(1), 1e-30), 0, 1)
        gap = np.linalg.norm(p + t[:, None] * (q - p) - r, axis=1)
        near[faces[side][gap <= 0.005][:, (k + 2) % 3]] = True
    return near


def by_every_triangle(points, faces, d, v):
    """Whether something stands over vertex v by more than 1 nm, in double precision; own triangles left out."""
    u = np.cross(d, [1.0, 0.0, 0.0] if abs(d[0]) < 0.6 else [0.0, 1.0, 0.0])
    u /= np.linalg.norm(u)
    at = points - points[v]
    flat = np.stack([at @ u, at @ np.cross(d, u), at @ d], axis=1)
    other = faces[~(faces == v).any(1)]
    a, b, c = (flat[other[:, k]] for k in range(3))
    cross = lambda p, q: p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    w = np.stack([cross(b, c), cross(c, a), cross(a, b)], axis=1)
    inside = (w >= 0).all(1) | (w <= 0).all(1)
    total = w.sum(1)
    inside &= total != 0
    height = (w * np.stack([a[:, 2], b[:, 2], c[:, 2]], axis=1)).sum(1)[inside] / total[inside]
    return bool((height > 1e-6).any())


def directions(count):
    rng = np.random.default_rng(4)
    fixed = [np.array([0.0, 0.0, 1.0])]
    random = [v / np.linalg.norm(v) for v in rng.normal(size=(3, 3))]
    return (fixed + random)[:count]


def random_turn(rng):
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q if np.linalg.det(q) > 0 else q * [-1.0, 1.0, 1.0]


def turned_stl(source, target, turn):
    """A binary STL turned as a whole and moved off the origin."""
    data = source.read_bytes()
    record = np.dtype([("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    facets = np.frombuffer(data, dtype=record, offset=84).copy()
    facets["p"] = facets["p"].astype(float) @ turn.T + [12.5, -40.0, 7.25]
    target.write_bytes(data[:84] + facets.tobytes())


class Tally:
    """What was compared so far."""

    def __init__(self, program):
        self.program, self.seen, self.differ, self.wrong = program, 0, 0, 0

    def compare(self, name, cast, d):
        with tempfile.TemporaryDirectory() as out:
            way = ",".join(f"{c:.17g}" for c in d)
            command = [self.program, "survey", str(cast), f"--withdrawal={way}", "--out", out, "--quiet"]
            done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False)
            if done.returncode not in (0, 1):
                raise SystemExit(f"{name}: {done.stderr.decode()}")
            table, faces = read_ply(pathlib.Path(out) / "survey.ply")
            report = json.loads((pathlib.Path(out) / "survey.json").read_text())
        d = np.array(report["path"]["withdrawal"])
        points = np.stack([table[k].astype(float) for k in "xyz"], axis=1)
        points -= (points.min(0) + points.max(0)) / 2
        depth = table["undercut_mm"].astype(float)
        loose = np.ones(len(points), bool)
        loose[faces.ravel()] = False
        if (np.isnan(depth) != loose).any() or (depth < 0).any():
            raise SystemExit(f"{name}: undercut_mm must be NaN at loose vertices alone, and nowhere negative")
        scene = rtcore_scene.EmbreeScene()
        TriangleMesh(scene, points[faces].astype(np.float32))
        origins = (points + 1e-3 * d).astype(np.float32)
        rays = np.tile(d, (len(points), 1)).astype(np.float32)
        hit = np.asarray(scene.run(origins, rays, query="OCCLUDED")) >= 0
        flag = depth > 0
        judged = ~np.isnan(depth) & ~silhouette(points, faces, d)
        odd = np.flatnonzero(judged & (flag != hit))
        # Depths under closed holes stand on lids that the ray caster does not know.
        lids = report["closed_hole_vertices"]
        false = [v for v in odd if by_every_triangle(points, faces, d, v) != flag[v]]
        self.wrong += max(0, len(false) - lids)
        self.seen += int(judged.sum())
        self.differ += max(0, len(odd) - lids)
        print(f"{name} {np.round(d, 3)}: {int(judged.sum())} vertices, {len(odd)} differ, of these "
              f"{len(false)} against every triangle; {lids} stand on closed holes", flush=True)


def main():
    words = sys.argv[1:]
    poses = 4
    if "--poses" in words:
        at = words.index("--poses")
        poses = int(words[at + 1])
        del words[at:at + 2]
    full = poses >= 20
    tally = Tally(words[0] if words else str(ROOT / "target/release/saddleroom"))
    samples = sorted(ROOT.glob("sample-meshes/*/ma*.stl"))
    for cast in samples:
        for d in directions(4 if full else 2):
            tally.compare(f"{cast.parent.name}/{cast.name}", cast, d)
    rng = np.random.default_rng(20)
    with tempfile.TemporaryDirectory() as folder:
        for pose in range(poses if samples else 0):
            cast, turn = samples[pose % len(samples)], random_turn(rng)
            target = pathlib.Path(folder) / "turned.stl"
            turned_stl(cast, target, turn)
            tally.compare(f"{cast.parent.name}/{cast.name} turned, pose {pose}", target, turn @ [0.0, 0.0, 1.0])
    scans = pathlib.Path(os.environ.get("SADDLEROOM_REAL_SCANS", ROOT / "../shared/real-scans"))
    if scans.is_dir():
        real = sorted(p for p in scans.iterdir() if p.suffix in (".ply", ".stl"))
        for i, cast in enumerate(real if full else real[:4]):
            for d in directions(4 if full else 2):
                tally.compare(f"real scan {i}", cast, d)
    else:
        print(f"skipped: undercut flags of real scans: {scans} is not there")
    print(f"{tally.seen} vertices, {tally.differ} differ from the ray caster, {tally.wrong} from every triangle")
    if tally.seen == 0:
        raise SystemExit("no cast to try")
    if tally.differ > 1e-4 * tally.seen or tally.wrong > 0:
        raise SystemExit("the flags do not agree")


main()
