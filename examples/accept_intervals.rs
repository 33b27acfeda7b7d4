//! Whether the intervals that the program states hold: mandibles drawn by seed are scanned with errors as large as the
//! case says, thinned and put into any posture, worked through, and the figures for room, undercut depth and the height
//! of tori are held against what the distance function of the cast tells.
//! `cargo run --release --example accept_intervals -- [FIRST LAST [SCANS]]`: patients, and scans of each (5).
//! Each figure is a line on standard error, the table is printed at the end; the table of a long run stands in
//! `docs/validation.md`. Ends with 1 where a share leaves 93 to 99 % by more than chance explains.
//!
//! The errors, all normally spread: the surface along its normal, long waves (10 to 40 mm) of 0.05 mm, short ones (3 to
//! 8 mm) of 0.03 mm and noise of 0.015 mm, together the 0.06 mm that a case states unless told otherwise; the relation of
//! the arches 0.10 mm along the opening; the direction given 1 degree; marks of the occlusal plane 0.1 mm, crest lines
//! 0.25 mm aside. They were settled before the first run.

#![allow(clippy::print_stdout, clippy::print_stderr)] // an example shows its result

mod poses;

use std::collections::BTreeMap;

use rayon::prelude::*;
use saddleroom::analysis::{Aim, Analysis, analyse, read_point};
use saddleroom::case::{Arch, Case, CaseFile, Chart, Marks, PathWanted, Relation, Scan, Scans, Side, Tooth};
use saddleroom::load;
use saddleroom::mesh::Mesh;
use saddleroom::phantom::faults::{Fault, apply};
use saddleroom::phantom::field::Variety;
use saddleroom::phantom::patient::{LobeWish, Pair, Patient, TorusWish, casts};
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth::room::{Body, room};
use saddleroom::phantom::{people, stl, truth};
use saddleroom::report::Finding;
use saddleroom::rules::Rules;
use saddleroom::space::{Direction, Motion, Point, Vector, cos, direction};
use saddleroom::units::{LengthUnit, digits};

type Failing = Box<dyn std::error::Error>;

/// Edges of the scans before they are thinned, mm.
const EDGE_MM: f64 = 0.6;
/// Standard deviations of the errors.
const LONG_MM: f64 = 0.05;
const SHORT_MM: f64 = 0.03;
const NOISE_MM: f64 = 0.015;
const RELATION_MM: f64 = 0.10;
const WAY_DEG: f64 = 1.0;
const PLANE_MARK_MM: f64 = 0.1;
const CREST_MARK_MM: f64 = 0.25;
/// A summit within this of a true one is the same lobe, mm.
const SUMMIT_MM: f64 = 3.5;

/// A figure: what, measured, true, standard uncertainty.
type Read = (&'static str, f64, f64, f64);

/// A patient, its scans without error, and what is true of it.
struct Known {
    patient: Patient,
    pair: Pair,
    scans: [Mesh; 2],
    crests: Vec<Vec<Point>>,
    depths: Vec<(Point, f64)>,
    lobes: Vec<(Point, f64)>,
}

fn main() -> Result<(), Failing> {
    let words: Vec<u64> = std::env::args().skip(1).map(|w| w.parse()).collect::<Result<_, _>>()?;
    let (first, last) = (words.first().copied().unwrap_or(1), words.get(1).copied().unwrap_or(1));
    let each = words.get(2).copied().unwrap_or(5);
    let mut all: BTreeMap<&'static str, Vec<Read>> = BTreeMap::new();
    let (mut patients, mut done, mut missed) = (0, 0, 0);
    for seed in first..=last {
        let Some(known) = drawn(seed) else { continue };
        patients += 1;
        let scans: Vec<Result<(Vec<Read>, usize), String>> =
            (0..each).into_par_iter().map(|k| scanned(&known, seed, k).map_err(|e| e.to_string())).collect();
        for (k, read) in scans.into_iter().enumerate() {
            let (read, lost) = read?;
            done += 1;
            missed += lost;
            for r in read {
                eprintln!("{seed} {k} {} {} {} {}", r.0, digits(r.1, 4), digits(r.2, 4), digits(r.3, 4));
                all.entry(r.0).or_default().push(r);
            }
        }
    }
    println!(
        "{done} scans of {patients} patients (seeds {first} to {last}); {missed} lobes of tori not called found\n"
    );
    println!(
        "| figure | readings | inside the 95 % interval | mean of measured - true, mm | spread, mm | mean standard uncertainty, mm |"
    );
    println!("|---|---|---|---|---|---|");
    let mut outside = Vec::new();
    for (what, reads) in &all {
        println!("{}", row(what, reads));
        // What chance explains: two standard deviations of a count of scans; readings of one scan share its errors.
        let (share, n) = (held(reads), reads.len().min(done.max(1)) as f64);
        let chance = |p: f64| 2.0 * (p * (1.0 - p) / n).sqrt();
        if share < 0.93 - chance(0.93) || share > 0.99 + chance(0.99) {
            outside.push(format!("{what}: {} %", digits(100.0 * share, 1)));
        }
    }
    if outside.is_empty() {
        Ok(())
    } else {
        Err(format!("outside 93 to 99 %: {}", outside.join(", ")).into())
    }
}

fn held(reads: &[Read]) -> f64 {
    reads.iter().filter(|(_, m, t, u)| (m - t).abs() <= 1.96 * u).count() as f64 / reads.len().max(1) as f64
}

fn row(what: &str, reads: &[Read]) -> String {
    let n = reads.len() as f64;
    let mean = reads.iter().map(|(_, m, t, _)| m - t).sum::<f64>() / n;
    let spread = (reads.iter().map(|(_, m, t, _)| (m - t - mean).powi(2)).sum::<f64>() / n).sqrt();
    let stated = reads.iter().map(|r| r.3).sum::<f64>() / n;
    let share = digits(100.0 * held(reads), 1);
    let [mean, spread, stated] = [mean, spread, stated].map(|x| digits(x, 3));
    format!("| {what} | {} | {share} % | {mean} | {spread} | {stated} |", reads.len())
}

/// A patient with teeth missing in the mandible; `None` where the draw has none.
fn drawn(seed: u64) -> Option<Known> {
    let mut v = Variety::new(seed.wrapping_mul(7919).wrapping_add(11));
    let mut patient = people::drawn(seed);
    if !patient.missing.iter().any(|t| t.arch() == Arch::Mandible) {
        return None;
    }
    patient.tori = [Side::Left, Side::Right].into_iter().map(|side| wish(side, &mut v)).collect();
    let pair = casts(&patient);
    let cast = &pair.mandible;
    let up = truth::occlusal(Arch::Mandible);
    let path = truth::undercut::Path::new(cast, &up);
    let spans = truth::spans(cast);
    let mut beside: Vec<Tooth> = spans.iter().flat_map(|s| s.beside.clone()).collect();
    beside.sort();
    beside.dedup();
    let crowns = beside.iter().filter_map(|t| truth::margin::crown_of(cast, *t));
    let mut depths: Vec<(Point, f64)> =
        crowns.flat_map(|c| truth::surfaces::samples(&path, c, 8, 2)).collect();
    // A gauge is put where there is undercut.
    depths.retain(|d| d.1 > 0.1);
    let lobes =
        truth::tori::tori(cast).iter().flat_map(|t| &t.lobes).map(|l| (l.summit, l.height_mm)).collect();
    let scans = [Arch::Mandible, Arch::Maxilla].map(|a| scan(pair.cast(a), &Density::even(EDGE_MM)));
    // A crest starts at the abutment in front of its span.
    let turned = |s: &truth::spans::Span| s.is_bounded() && s.middle_s < 0.0;
    let crests = spans
        .into_iter()
        .map(|s| if turned(&s) { s.crest.iter().rev().copied().collect() } else { s.crest })
        .collect();
    Some(Known { patient, pair, scans, crests, depths, lobes })
}

/// One lobe or two, 1.5 to 5 mm high before they blend into the wall.
fn wish(side: Side, v: &mut Variety) -> TorusWish {
    let count = 1 + v.bits() % 2;
    let length_mm = (9.5 + 3.0 * v.even()) / (0.5 + 0.5 * count as f64);
    let (middle, below, high) = (4.6 + 0.7 * v.even(), 6.5 + v.even(), 3.2 + 1.7 * v.even());
    let lobe = |i: u64| LobeWish {
        // Teeth stand about 7.5 mm apart there.
        place: middle + (i as f64 - 0.5 * (count - 1) as f64) * length_mm / 7.5,
        below_crest_mm: below,
        height_mm: if i == 1 { high } else { (0.85 * high).max(1.2) },
        length_mm,
        width_mm: (0.6 * length_mm).clamp(4.5, 7.5),
    };
    TorusWish { side, lobes: (0..count).map(lobe).collect() }
}

/// Slow waves of a scan's error.
struct Waves(Vec<(Vector, f64, f64)>);

impl Waves {
    /// `sigma_mm` in all, lengths from `from_mm` to `to_mm`.
    fn new(sigma_mm: f64, from_mm: f64, to_mm: f64, v: &mut Variety) -> Waves {
        const COUNT: usize = 24;
        let one = |_| {
            let way = Vector::new(v.normal(), v.normal(), v.normal());
            let length_mm = from_mm + (to_mm - from_mm) * 0.5 * (1.0 + v.even());
            let turns = way.try_normalize(1e-6).unwrap_or_else(Vector::x) * std::f64::consts::TAU / length_mm;
            // A normal amplitude makes the sum at any place normal over the draws.
            (turns, std::f64::consts::PI * v.even(), sigma_mm * (2.0 / COUNT as f64).sqrt() * v.normal())
        };
        Waves((0..COUNT).map(one).collect())
    }

    fn at(&self, p: &Point) -> f64 {
        self.0.iter().map(|(k, phase, size)| size * cos(k.dot(&p.coords) + phase)).sum()
    }
}

/// A scan with errors and fewer triangles.
fn with_errors(mesh: &Mesh, v: &mut Variety) -> Result<Mesh, Failing> {
    let keep = 0.55 + 0.45 * 0.5 * (1.0 + v.even());
    let thinned = Fault::Decimated { triangles: (keep * mesh.faces().len() as f64) as usize };
    let mesh = apply(mesh, &[thinned], v.bits())?.mesh;
    let (long, short) = (Waves::new(LONG_MM, 10.0, 40.0, v), Waves::new(SHORT_MM, 3.0, 8.0, v));
    let moved = mesh.vertices().iter().zip(mesh.vertex_normals());
    let places = moved.map(|(p, n)| p + n * (long.at(p) + short.at(p) + NOISE_MM * v.normal())).collect();
    Ok(Mesh::new(places, mesh.faces().to_vec())?)
}

fn read_back(mesh: &Mesh, pose: &Motion) -> Result<Scan, Failing> {
    let import = load::read(&stl::binary(&mesh.moved(pose), "drawn"), LengthUnit::Mm)?;
    Ok(Scan { file: "drawn.stl".into(), sha256: String::new(), import, labels: None })
}

/// A direction off by chance.
fn leaning(d: &Direction, degrees: f64, v: &mut Variety) -> Direction {
    let across = Vector::new(v.normal(), v.normal(), 0.0) * degrees.to_radians();
    direction(d.into_inner() + across).unwrap_or(*d)
}

/// One scan of a patient, worked through: the figures, and how many lobes were not called found.
fn scanned(known: &Known, seed: u64, k: u64) -> Result<(Vec<Read>, usize), Failing> {
    let mut v = Variety::new(seed.wrapping_mul(1_000_003).wrapping_add(k));
    let up = truth::occlusal(Arch::Mandible);
    let pose = poses::pose(&mut v);
    let mandible = read_back(&with_errors(&known.scans[0], &mut v)?, &pose)?;
    let shift = Motion::translation(0.0, 0.0, RELATION_MM * v.normal());
    let opposing = with_errors(&known.scans[1], &mut v)?;
    let mut maxilla = read_back(&opposing, &(pose * shift))?;
    // The opposing arch comes with labels: its teeth are not what is tried here.
    let back = (pose * shift).inverse();
    let places: Vec<Point> = maxilla.import.mesh.vertices().iter().map(|p| back * p).collect();
    maxilla.labels = Some(truth::labels(&known.pair.maxilla, &places));
    let mut file = CaseFile::bare("drawn", Arch::Mandible, Scans::default());
    let missing = known.patient.missing.iter().copied().filter(|t| t.arch() == Arch::Mandible).collect();
    file.chart = Some(Chart { missing, ..Chart::default() });
    file.relation = Relation { as_scanned: true, ..Relation::default() };
    file.path = PathWanted::Withdrawal(pose.rotation * leaning(&up, WAY_DEG, &mut v));
    file.marks = marks(known, &pose, &mut v);
    // The room is asked for upright; few tilts are searched, since the path is given.
    let limits = [("site_tilt_deg", 0.0), ("tilt_most_deg", 1.0), ("path_step_deg", 5.0)];
    file.limits = limits.map(|(id, number)| (id.to_owned(), number)).to_vec();
    let rules = Rules::changed(&file.limits).map_err(|e| format!("{e:?}"))?;
    let case = Case::new(file, Some(mandible), Some(maxilla));
    let done = analyse(&case, &rules, &|_| {})?;
    let mut reads = rooms(known, &done, &pose);
    reads.extend(gauges(known, &done, &pose));
    let (heights, lost) = heights(known, &done.report.findings, &pose);
    reads.extend(heights);
    Ok((reads, lost))
}

/// What a user would mark: three places of the occlusal plane, the midline, a point on each crown, the crest lines.
fn marks(known: &Known, pose: &Motion, v: &mut Variety) -> Marks {
    let cast = &known.pair.mandible;
    let mut plane = [[0.0, 0.0], [-22.0, -24.0], [22.0, -24.0]]
        .map(|[x, y]| pose * cast.own(&Point::new(x, y, PLANE_MARK_MM * v.normal())));
    plane.iter_mut().for_each(|p| *p = Point::from(p.coords));
    let crest = |line: &Vec<Point>, v: &mut Variety| {
        let ends = line.first().zip(line.last()).map_or_else(Vector::x, |(a, b)| b - a);
        let aside = ends.cross(&Vector::z()).try_normalize(1e-9).unwrap_or_else(Vector::x);
        let by = aside * (CREST_MARK_MM * v.normal());
        line.iter().map(|p| pose * (p + by)).collect()
    };
    Marks {
        occlusal_plane: Some(plane),
        midline: Some(pose * cast.own(&Point::origin())),
        teeth: cast.crowns.iter().map(|c| (c.tooth, pose * truth::on_crown(cast, c))).collect(),
        crests: known.crests.iter().map(|c| crest(c, v)).collect(),
        ..Marks::default()
    }
}

/// Room over each distal extension at the place where the program found it best.
fn rooms(known: &Known, done: &Analysis<'_>, pose: &Motion) -> Vec<Read> {
    let up = truth::occlusal(Arch::Mandible);
    let mut out = Vec::new();
    for span in &done.report.spans {
        let Some(site) = &span.site else { continue };
        let stated = done.report.findings.iter().find(|f| {
            f.code == "attachment_room"
                && f.place.span.as_ref().is_some_and(|s| *s == span.teeth)
                && f.value.is_some()
        });
        let Some(value) = stated.and_then(|f| f.value.as_ref()) else { continue };
        let at = pose.inverse() * Point::from(site.at_mm);
        let far = |c: &&Vec<Point>| c.iter().map(|p| (p - at).norm()).fold(f64::INFINITY, f64::min);
        let Some(crest) = known.crests.iter().min_by(|a, b| far(a).total_cmp(&far(b))) else { continue };
        let [length_mm, width_mm] = site.footprint_mm;
        let s = nearest(crest, &at);
        let (a, b, centre) =
            (along(crest, s - 0.5 * length_mm), along(crest, s + 0.5 * length_mm), along(crest, s));
        let body = Body { centre, up, along: b - a, length_mm, width_mm };
        if let Some(found) = room(&known.pair.mandible, &known.pair.maxilla, &body) {
            // Over an opposing ridge the plane that is marked ends the room, where nothing stands below it.
            let shared = stated.is_some_and(|f| f.says.contains("planned occlusal plane"));
            let plane = known.pair.mandible.own(&Point::origin());
            let to_plane = if shared { (plane - found.tissue_at).dot(&up) } else { f64::INFINITY };
            out.push(("room", value.number, found.room_mm.min(to_plane), value.uncertainty));
        }
    }
    out
}

/// How far along a line its place nearest to a point stands, mm.
fn nearest(line: &[Point], p: &Point) -> f64 {
    let length: f64 = line.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
    let far = |s: &f64| (along(line, *s) - p).norm();
    let steps = (0..=(length / 0.05) as usize).map(|i| 0.05 * i as f64);
    steps.min_by(|a, b| far(a).total_cmp(&far(b))).unwrap_or(0.0)
}

/// The place so far along a line.
fn along(line: &[Point], mm: f64) -> Point {
    let mut left = mm;
    for w in line.windows(2) {
        let step = (w[1] - w[0]).norm();
        if left <= step && step > 0.0 {
            return w[0] + (w[1] - w[0]) * (left / step).max(0.0);
        }
        left -= step;
    }
    line.last().copied().unwrap_or_else(Point::origin)
}

/// A gauge put to places of the abutments.
fn gauges(known: &Known, done: &Analysis<'_>, pose: &Motion) -> Vec<Read> {
    let facts = &done.facts;
    let (Ok(path), Ok(field)) = (&facts.path, &facts.undercut) else { return Vec::new() };
    let one = |(p, depth): &(Point, f64)| {
        let read = read_point(done, Some((path, field)), &Aim::Place(pose * p)).ok()?.gauge?;
        Some(("undercut depth", read.depth_mm, *depth, read.uncertainty_mm))
    };
    known.depths.iter().filter_map(one).collect()
}

/// Heights of tori that are called found.
fn heights(known: &Known, findings: &[Finding], pose: &Motion) -> (Vec<Read>, usize) {
    let found: Vec<_> = findings
        .iter()
        .filter(|f| f.code == "torus_found")
        .filter_map(|f| Some((pose.inverse() * Point::from(f.place.at_mm?), f.value.as_ref()?)))
        .collect();
    let reads: Vec<Read> = known
        .lobes
        .iter()
        .filter_map(|(summit, height_mm)| {
            let far = |p: &Point| (p - summit).norm();
            let near = found.iter().min_by(|a, b| far(&a.0).total_cmp(&far(&b.0)))?;
            (far(&near.0) < SUMMIT_MM).then_some((
                "torus height",
                near.1.number,
                *height_mm,
                near.1.uncertainty,
            ))
        })
        .collect();
    let lost = known.lobes.len() - reads.len();
    (reads, lost)
}
