#!/usr/bin/env python3
"""Truth of the generated casts against brute force on their triangles, by libraries that know nothing of the generator.

    python tests/reference/phantom_truth.py target/release/saddleroom [--case NAME ..]      the cases as `demo` writes them
    python tests/reference/phantom_truth.py --dense DIR [DIR ..]       folders written by the example accept_phantom

Needs numpy, trimesh, embreex, libigl. Prints `skipped:` with the reason and ends with 0 where a package is missing.
Distances along rays by Embree, nearest places by libigl, undercut depths by cutting the triangles over each place with
planes through the withdrawal, sections by cutting the triangles. A mesh is coarser than the field it was made from:
a facet of edge e over a radius r lies e^2 / 8r beside it, so the scans of `demo` (0.34 to 0.6 mm) are compared for
their size and dense ones (0.3 mm) for the limit. Where a ray meets a slope the chord error counts more along the ray;
such distances are compared square to the surface met, that is times the cosine, and the plain figure stands beside.
Where the facets themselves stand over 0.02 mm beside the place of the surface (sharp ground edges, slits between
teeth), the mesh cannot say; such places are counted and shown apart. Whether a place "stands on the surface" is shown
for the same reason and not judged.
Ends with 1 where the 99th percentile of a quantity is over 0.03 mm or a mesh is not a clean surface.
"""
import argparse
import json
import pathlib
import subprocess
import sys
import tempfile

try:
    import igl
    import numpy as np
    import trimesh
    from trimesh.ray.ray_pyembree import RayMeshIntersector
except ImportError as lacking:
    print(f"skipped: truth of the phantoms: {lacking}")
    sys.exit(0)

LIMIT_MM = 0.03
BESIDE_MM = 0.02
KNOWN = ["oban", "cromer", "whitby", "lerwick"]


class Cast:
    """A mesh with its ray caster."""

    def __init__(self, path):
        mesh = trimesh.load(path, process=False)
        corners = np.asarray(mesh.vertices)
        # Equal corners share a rank in each coordinate; three ranks make one key.
        ranks = [np.unique(corners[:, k], return_inverse=True)[1].reshape(-1).astype(np.int64) for k in range(3)]
        key = (ranks[0] << 42) | (ranks[1] << 21) | ranks[2]
        _, first, back = np.unique(key, return_index=True, return_inverse=True)
        points, faces = corners[first], back.reshape(-1)[mesh.faces]
        faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
        self.mesh = trimesh.Trimesh(points, faces, process=False)
        self.v, self.f = np.ascontiguousarray(points, float), np.ascontiguousarray(faces, np.int64)
        self.rays = RayMeshIntersector(self.mesh)
        self.tri = self.v[self.f]
        self.low, self.high = self.tri.min(1), self.tri.max(1)

    def nearest(self, places):
        places = np.asarray(places, float).reshape(-1, 3)
        return np.sqrt(igl.point_mesh_squared_distance(places, self.v, self.f)[0]).reshape(-1)

    def along(self, places, way):
        """Distance to the first surface met, infinite where none is, and the cosine at which it is met."""
        places = np.atleast_2d(np.asarray(places, float))
        ways = np.tile(np.asarray(way, float), (len(places), 1))
        far, cosine = np.full(len(places), np.inf), np.ones(len(places))
        # A hair off, so that no ray runs along an edge that two triangles share.
        at, ray, face = self.rays.intersects_location(places + [1.3e-5, 0.7e-5, 0.0], ways, multiple_hits=False)
        far[ray] = ((at - places[ray]) * ways[ray]).sum(1)
        cosine[ray] = np.abs((self.mesh.face_normals[face] * ways[ray]).sum(1))
        return far, cosine

    def part(self, middle, radius):
        return Part(self.tri[((self.low < middle + radius) & (self.high > middle - radius)).all(1)])


class Part:
    """Triangles near a crown."""

    def __init__(self, triangles):
        self.tri, self.low, self.high = triangles, triangles.min(1), triangles.max(1)

    def near(self, p, reach):
        """Triangles whose boxes come near a place."""
        return self.tri[((self.low < p + reach) & (self.high > p - reach)).all(1)]


def surface_faults(cast):
    """What keeps a mesh from being a clean surface, and how many borders it has."""
    f = cast.f
    edges = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    key = np.sort(edges, 1)
    _, where, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    where = where.reshape(-1)
    signs = np.bincount(where, weights=np.where(edges[:, 0] < edges[:, 1], 1, -1))
    border = edges[count[where] == 1]
    faults = []
    if (count > 2).any():
        faults.append(f"{(count > 2).sum()} edges of more than two triangles")
    if (np.abs(signs[count == 2]) > 0).any():
        faults.append("triangles side by side that face opposite ways")
    to = dict(border.tolist())
    if len(to) != len(border):
        faults.append("a border that touches itself")
    loops, left = 0, set(to)
    while left:
        at = left.pop()
        loops += 1
        while to.get(at) in left:
            at = to[at]
            left.discard(at)
    if loops > 1:
        faults.append(f"{loops} borders")
    if len(trimesh.graph.connected_components(cast.mesh.face_adjacency, nodes=np.arange(len(f)))) != 1:
        faults.append("more than one piece")
    return faults, loops


def cut(triangles, at, normal):
    """Segments (n, 2, 3) in which triangles meet a plane."""
    side = (triangles - at) @ normal
    side = np.where(side == 0, 1e-12, side)
    triangles, side = triangles[(side.min(1) < 0) & (side.max(1) > 0)], side[(side.min(1) < 0) & (side.max(1) > 0)]
    if not len(triangles):
        return np.zeros((0, 2, 3))
    # The corner that stands alone on its side comes first.
    positive = (side > 0).sum(1)
    alone = np.where(positive == 1, np.argmax(side, 1), np.argmin(side, 1))
    n = np.arange(len(triangles))
    a, b, c = (triangles[n, (alone + k) % 3] for k in range(3))
    sa, sb, sc = (side[n, (alone + k) % 3] for k in range(3))
    p = a + (b - a) * (sa / (sa - sb))[:, None]
    q = a + (c - a) * (sa / (sa - sc))[:, None]
    return np.stack([p, q], 1)


def across(d):
    u = np.cross(d, [1.0, 0.0, 0.0] if abs(d[0]) < 0.6 else [0.0, 1.0, 0.0])
    u /= np.linalg.norm(u)
    return u, np.cross(d, u)


def way_out(triangles, p, d, out):
    """How far from p toward `out` something stands over the height of p without a gap: in the section along d."""
    seg = cut(triangles, p, np.cross(d, out))
    r, z = (seg - p) @ out, (seg - p) @ d
    high = z.max(1) > 1e-4
    r, z = r[high], z[high]
    # Cut off what lies below the height of p.
    for k in (0, 1):
        low = z[:, k] < 1e-4
        share = (1e-4 - z[low, k]) / (z[low, 1 - k] - z[low, k])
        r[low, k] += (r[low, 1 - k] - r[low, k]) * share
        z[low, k] = 1e-4
    lo, hi = r.min(1), r.max(1)
    order = np.argsort(lo)
    reach = 0.0
    for a, b in zip(lo[order], hi[order]):
        if a > reach + 1e-4:
            break
        reach = max(reach, b)
    return reach


def depth(part, p, d):
    """Undercut depth of a place by trying directions all around, more of them beside the three best."""
    u, w = across(d)
    p = np.asarray(p, float)
    box = part.tri - p
    above = (box @ d).max(1) > 0
    plan = box[above] @ np.array([u, w]).T
    low, high, above = plan.min(1), plan.max(1), part.tri[above]
    some = lambda reach: above[((low < reach) & (high > -reach)).all(1)]
    way = lambda tris, t: way_out(tris, p, d, u * np.cos(t) + w * np.sin(t))
    # Nothing further aside than the best of a few directions matters.
    first = some(3.0)
    reach = min(way(first, t) for t in np.linspace(0, 2 * np.pi, 12, endpoint=False)) + 0.02
    close = some(reach)
    turns = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ways = np.array([way(close, t) for t in turns])
    best = turns[np.argsort(ways)[:3]]
    return min([ways.min()] + [way(close, t + s) for t in best for s in np.linspace(-0.1, 0.1, 11)])


def walked(segments, start, end):
    """Length of a section between the places of it nearest to two points."""
    ends = segments.reshape(-1, 3)
    _, ids = np.unique(ends.round(6), axis=0, return_inverse=True)
    ids = ids.reshape(-1, 2)
    links = {}
    for a, b, p, q in zip(ids[:, 0], ids[:, 1], segments[:, 0], segments[:, 1]):
        if a != b:
            links.setdefault(a, []).append((b, p, q))
            links.setdefault(b, []).append((a, q, p))
    def foot(x):
        along = segments[:, 1] - segments[:, 0]
        t = np.clip(((x - segments[:, 0]) * along).sum(1) / np.maximum((along ** 2).sum(1), 1e-30), 0, 1)
        at = segments[:, 0] + along * t[:, None]
        k = np.argmin(np.linalg.norm(at - x, axis=1))
        return k, at[k]
    (ka, a), (kb, b) = foot(start), foot(end)
    if ka == kb:
        return np.linalg.norm(b - a)
    lengths = []
    for to in (0, 1):
        at, before, run = ids[ka, to], ids[ka, 1 - to], np.linalg.norm(segments[ka, to] - a)
        for _ in range(len(segments)):
            if at in ids[kb]:
                other = ids[kb, 1] if ids[kb, 0] == at else ids[kb, 0]
                if other != before or ids[kb, 0] == at or ids[kb, 1] == at:
                    k = 0 if ids[kb, 0] == at else 1
                    lengths.append(run + np.linalg.norm(segments[kb, k] - b))
                    break
            step = [(n, p, q) for n, p, q in links.get(at, []) if n != before]
            if not step:
                break
            n, p, q = step[0]
            run, at, before = run + np.linalg.norm(q - p), n, at
    return min(lengths) if lengths else np.nan


def room(restored, opposing, body):
    up, along = np.array(body["up"]), np.array(body["along"])
    along = along - up * (along @ up)
    along /= np.linalg.norm(along)
    side = np.cross(up, along)
    a = np.linspace(-0.5, 0.5, 121) * body["length_mm"]
    b = np.linspace(-0.5, 0.5, 81) * body["width_mm"]
    at = (np.array(body["centre_mm"]) + (a[:, None, None] * along + b[None, :, None] * side)).reshape(-1, 3)
    top = 30 - restored.along(at + 30 * up, -up)[0]
    under = opposing.along(at - 30 * up, up)[0] - 30
    return under.min() - top[np.isfinite(top)].max(), (under - top)[np.isfinite(under - top)].min()


class Table:
    def __init__(self):
        self.rows, self.judged = {}, {}

    def add(self, name, off, judged=True):
        off = np.atleast_1d(np.asarray(off, float))
        self.rows.setdefault(name, []).extend(np.abs(off))
        self.judged[name] = judged

    def split(self, name, off, beside):
        """Off the mesh by a crease or a slit that facets do not follow: such places stand apart and are not judged."""
        off = np.atleast_1d(np.asarray(off, float))
        bad = (np.atleast_1d(beside) > BESIDE_MM) | np.isnan(off)
        if not bad.all():
            self.add(name, off[~bad])
        if bad.any():
            self.add(f"{name[:34]}, facets beside it", off[bad], False)

    def show(self, title):
        print(f"\n{title}\n{'quantity, mm':58} {'n':>5} {'median':>8} {'p99':>8} {'max':>8}")
        good = True
        for name, off in self.rows.items():
            off = np.array(off)
            lost = np.isnan(off)
            found = off[~lost]
            p99 = np.percentile(found, 99) if len(found) else np.inf
            fails = self.judged[name] and (p99 > LIMIT_MM or lost.any())
            good &= not fails
            word = "" if self.judged[name] else "  (not judged)"
            if len(found):
                word = f"{len(off):5} {np.median(found):8.4f} {p99:8.4f} {found.max():8.4f}" + word
            lines = f"  {lost.sum()} not found on the mesh" if lost.any() else ""
            print(f"{name:58} {word}{lines}{'  OVER' if fails else ''}")
        return good


def survey_off(part, p, d, middle):
    """How much further than p the surface stands out at p and over it, in the section through p and the path."""
    out = p - middle
    out = out - d * (out @ d)
    out /= np.linalg.norm(out)
    seg = cut(part.near(p, 0.9), p, np.cross(d, out))
    r, z = (seg - p) @ out, (seg - p) @ d
    near = ((z > -0.1) & (z < 0.6)).all(1) & (np.abs(r) < 0.12).all(1)
    return r[near].max() if near.any() else np.nan


def compare(folder, title):
    folder = pathlib.Path(folder)
    truth = json.loads((folder / "truth.json").read_text())
    lower, upper = Cast(folder / "mandible.stl"), Cast(folder / "maxilla.stl")
    bare = Cast(folder / "bare.stl") if (folder / "bare.stl").exists() else None
    restored, opposing = (lower, upper) if truth["restored_arch"] == "mandible" else (upper, lower)
    opening = np.array(truth["occlusal_mm"], float)
    table, clean = Table(), True
    for name, cast in (("mandible", lower), ("maxilla", upper)):
        faults, loops = surface_faults(cast)
        clean &= not faults
        edge = cast.mesh.edges_unique_length.mean()
        print(f"{title} {name}: {len(cast.f)} triangles, mean edge {edge:.3f} mm, {loops} border"
              f"{', ' + ', '.join(faults) + '  FAULT' if faults else ', clean'}")

    stations = [s for crest in truth["crests"] for s in crest]
    table.add("crest: stands on the surface", restored.nearest([s["at_mm"] for s in stations]), False)
    some = [s for s in stations if s.get("along_opening_mm") is not None]
    far, cosine = opposing.along([s["at_mm"] for s in some], opening)
    off = np.where(np.isfinite(far), far, np.nan) - [s["along_opening_mm"] for s in some]
    met = np.array([s["at_mm"] for s in some]).reshape(-1, 3) + np.outer([s["along_opening_mm"] for s in some], opening)
    table.split("room along the opening, square to the surface met", off * cosine, opposing.nearest(met))
    table.add("room along the opening, plain", off, False)
    some = [s for s in stations if s.get("nearest_mm") is not None]
    table.split("nearest distance to the opposing arch",
                opposing.nearest([s["at_mm"] for s in some]) - [s["nearest_mm"] for s in some],
                opposing.nearest([s["nearest_at_mm"] for s in some]))
    for b in truth.get("bodies", []):
        if b["room_mm"] is not None:
            rigid, pointwise = room(restored, opposing, b)
            beside = max(restored.nearest(b["tissue_at_mm"])[0], opposing.nearest(b["opposing_at_mm"])[0])
            table.split("room for a rigid body", rigid - b["room_mm"], beside)
            table.split("least gap over the footprint", pointwise - b["pointwise_mm"], beside)
    for t in truth.get("teeth", [])[:1]:
        every = [p for t in truth["teeth"] for p in t["margin_mm"]]
        table.add("margin: stands on the surface", restored.nearest(every), False)
    margins = {t["tooth"]: np.array(t["margin_mm"]) for t in truth.get("teeth", [])}
    for path in truth.get("paths", []):
        d = np.array(path["withdrawal"], float)
        d /= np.linalg.norm(d)
        for a in path["abutments"]:
            line, middle = np.array(a["survey_line_mm"]), np.mean(a["survey_line_mm"], 0)
            part = restored.part(middle, 12.0)
            beside = restored.nearest([place["at_mm"] for place in a["places"]])
            off = [depth(part, place["at_mm"], d) - place["undercut_mm"] for place in a["places"]]
            table.split("undercut depth at places of crowns", off, beside)
            surfaces = a["surfaces"]
            off = [depth(part, s["deepest_at_mm"], d) - s["deepest_mm"] for s in surfaces]
            table.split("deepest undercut of a surface", off, restored.nearest([s["deepest_at_mm"] for s in surfaces]))
            # No place of the margin is deeper than the deepest of the four surfaces.
            most = max(s["deepest_mm"] for s in surfaces)
            margin = margins.get(a["tooth"], np.zeros((0, 3)))
            deepest = max([depth(part, p, d) for p in margin[::3]], default=0.0)
            table.add("deepest place of a margin, over the deepest of its surfaces", max(0.0, deepest - most))
            shown = line[np.array(a["survey_line_shown"], bool)]
            off = [survey_off(part, p, d, middle) for p in shown]
            table.split("survey line: stands out most in its section", off, restored.nearest(shown))
    for t in truth.get("tori", []):
        lobes = t.get("lobes", [])
        table.add("torus: summits and outline on the surface",
                  restored.nearest([l["summit_mm"] for l in lobes] + t.get("outline_mm", [])), False)
        if bare is not None:
            table.add("torus: height of summits",
                      bare.nearest([l["summit_mm"] for l in lobes]) - [l["height_mm"] for l in lobes])
            table.add("torus: height of the outline", bare.nearest(t["outline_mm"]) - t["outline_at_mm"])
            around = restored.v[np.linalg.norm(restored.v - t["summit_mm"], axis=1) < 4.0]
            table.add("torus: highest vertex within 4 mm", bare.nearest(around).max() - t["height_mm"])
            chord = np.array(t["outline_mm"])
            long = np.linalg.norm(chord[:, None] - chord[None], axis=2).max()
            table.add("torus: longest chord of the outline", long - t["length_mm"])
    for w in truth.get("lingual_walls", []):
        line = np.array(w["line_mm"])
        normal = np.array(w["section_normal"])
        low, high = line.min(0) - 3, line.max(0) + 3
        tri = restored.tri[((restored.low < high) & (restored.high > low)).all(1)]
        table.add("lingual wall: length along the tissue", walked(cut(tri, line[0], normal), line[0], line[-1]) - w["along_mm"])
        table.add("lingual wall: vertical", (line[0] - line[-1]) @ opening - w["vertical_mm"])
        table.add("lingual wall: section on the surface", restored.nearest(line), False)
    seats = truth.get("rest_seats", [])
    table.add("rest seat: floor on the surface", restored.nearest([s["floor_mm"] for s in seats]), False)
    if bare is not None:
        table.add("rest seat: nearest of the unprepared tooth",
                  bare.nearest([s["floor_mm"] for s in seats]) - [s["square_depth_mm"] for s in seats])
    met = np.array([s["floor_mm"] for s in seats]).reshape(-1, 3)
    met += np.outer([s["room_mm"] or 0.0 for s in seats], opening)
    for s, beside in zip(seats, opposing.nearest(met)):
        if s["room_mm"] is not None:
            far, cosine = opposing.along(s["floor_mm"], opening)
            table.split("rest seat: room over the floor, square", (far[0] - s["room_mm"]) * cosine[0], beside)
        if bare is not None:
            axis = np.array(s["axis"])
            floor = np.array(s["floor_mm"])
            far, cosine = bare.along(floor + 6 * axis, -axis)
            table.add("rest seat: depth along the axis, square", (6 - far[0] - s["depth_mm"]) * cosine[0])
    return table.show(title) and clean


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program", nargs="?", help="the saddleroom program, or with --dense a folder")
    parser.add_argument("--case", action="append", help="names of cases; else all that the program knows")
    parser.add_argument("--dense", nargs="+", help="folders with dense scans and truth.json")
    args = parser.parse_args()
    good, seen = True, 0
    for folder in args.dense or []:
        good &= compare(folder, f"{pathlib.Path(folder).name}, dense")
        seen += 1
    for name in (args.case or KNOWN) if args.program else []:
        with tempfile.TemporaryDirectory() as out:
            done = subprocess.run([args.program, "demo", out, "--case", name, "--quiet"], capture_output=True, text=True)
            if done.returncode != 0:
                print(f"{name}: left out, the program does not write it: {done.stderr.strip().splitlines()[:1]}")
                continue
            here = next(iter(sorted(pathlib.Path(out).rglob("truth.json"))), None)
            if here is None:
                print(f"{name}: no truth.json  FAULT")
                good = False
                continue
            if not compare(here.parent, f"{name}, as demo writes it"):
                print("(scans coarser than 0.3 mm: the limit is for dense ones)")
                good = False
            seen += 1
    if not seen:
        sys.exit("nothing to compare")
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
