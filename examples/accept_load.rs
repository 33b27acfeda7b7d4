//! How the designs share the load, held to statics by hand and to the directions in which published comparisons went:
//! `cargo run --release --example accept_load [SEED] [CASE.toml ..]`. With case files it also times the check on them.

#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)] // an example shows its result and may fail loudly

use std::path::Path;
use std::time::Instant;

use saddleroom::mechanics::answers::{Answer, Asked, answer};
use saddleroom::mechanics::bed::BedFace;
use saddleroom::mechanics::scene::{Abutment, Base, Kind, Load, Rest, Scene, Stiffness};
use saddleroom::space::{Direction, Point, Vector};

fn rock(joint: f64, ridge: f64) -> Stiffness {
    Stiffness {
        mucosa_mpa: ridge,
        mucosa_mm: 1.0,
        axial_n_per_mm: 1e7,
        lateral_n_per_mm: 1e7,
        root_mm: 12.0,
        joint_n_mm_per_rad: joint,
        clasp_share: 1.0,
        plate_gap_mm: 0.0,
        hinge_play_deg: 0.0,
        load_shift_mm: 0.0,
    }
}

fn tooth(x: f64, y: f64) -> Abutment {
    Abutment {
        crown: Point::new(x, y, -1.0),
        mesial: Vector::y(),
        buccal: if x < -20.0 { -Vector::x() } else { Vector::x() },
        neck_mm: 4.0,
        root_share: 1.0,
        firmness_share: 1.0,
    }
}

/// A ridge 1 mm wide from `a` to `b` mm behind a tooth at the origin; three rests where the base is to hinge.
fn saddle(a: f64, b: f64, rests: bool) -> Scene {
    let strips = 800;
    let step = (b - a) / f64::from(strips);
    let bed = (0..strips)
        .map(|i| BedFace::new(Point::new(0.0, -a - (f64::from(i) + 0.5) * step, 0.0), Vector::z(), step))
        .collect();
    let up = Direction::new_normalize(Vector::z());
    let places = [[0.0, 0.0], [-40.0, 0.0], [-20.0, 25.0]];
    let places = if rests { &places[..] } else { &places[..1] };
    let rests = if rests { places } else { &[] };
    Scene {
        origin: Point::origin(),
        occlusal: up,
        anterior: Direction::new_normalize(Vector::y()),
        left: Direction::new_normalize(-Vector::x()),
        withdrawal: up,
        abutments: places.iter().map(|p| tooth(p[0], p[1])).collect(),
        rests: rests
            .iter()
            .enumerate()
            .map(|(abutment, p)| Rest { abutment, at: Point::new(p[0], p[1], 0.0) })
            .collect(),
        plates: vec![],
        clasps: vec![],
        bases: vec![Base {
            extension: true,
            front: Some(0),
            crest: vec![Point::new(0.0, -a, 0.0), Point::new(0.0, -b, 0.0)],
            outward: -Vector::x(),
            joint_at: Point::origin(),
            bed,
        }],
    }
}

fn of(kind: Kind, stiffness: &Stiffness, a: f64, b: f64, c: f64) -> Answer {
    let scene = saddle(a, b, kind == Kind::Hinged);
    let loads = [Load { base: 0, at: Point::new(0.0, -c, 0.0), force: -Vector::z() * 100.0 }];
    answer(&Asked { scene: &scene, kind, stiffness, loads: &loads }, None).expect("held")
}

/// A share of the way between two numbers, from a counter whose bits are mixed.
struct Drawn(u64);

impl Drawn {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        low + (high - low) * ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn table() -> bool {
    println!("joint N mm/rad   rest N (by hand)     moment N mm (by hand)   balance of the load");
    let mut good = true;
    for (joint, rest, moment) in [(1e4, 29.862, 391.4), (1e5, 76.280, 1323.6), (1e6, 96.886, 1737.5)] {
        let found = of(Kind::Clamped, &rock(joint, 4.0), 2.0, 30.0, 18.0);
        let (r, m) = (100.0 * found.abutment_share, found.abutments[0].distal_n_mm);
        println!(
            "{joint:>14}   {r:.3} ({rest:.3})      {m:.1} ({moment:.1})        {:.1e}",
            found.balance_share
        );
        good &=
            (r / rest - 1.0).abs() < 1e-3 && (m / moment - 1.0).abs() < 1e-3 && found.balance_share < 1e-9;
    }
    for (c, rest) in [(12.0, 40.25), (18.0, 10.373), (20.0, 0.41)] {
        for ridge in [0.4, 4.0, 40.0] {
            let r = 100.0 * of(Kind::Hinged, &rock(1e5, ridge), 2.0, 30.0, c).abutment_share;
            println!("hinge, load at {c} mm, ridge {ridge} N/mm2: rest {r:.3} N ({rest})");
            good &= (r - rest).abs() < 1e-3 * rest + 0.02;
        }
    }
    let lifted = of(Kind::Hinged, &rock(1e5, 4.0), 2.0, 30.0, 24.0);
    println!("hinge, load at 24 mm: the rest is lifted by {:.3} mm", lifted.rests[0].lift_mm);
    good && lifted.rests[0].lift_mm > 0.0
}

/// Directions of change over drawn saddles; the number of failures.
fn directions(seed: u64, cases: usize) -> usize {
    let mut drawn = Drawn(seed);
    let mut failed = 0;
    for _ in 0..cases {
        let (a, b) = (drawn.between(1.0, 6.0), drawn.between(20.0, 40.0));
        let c = drawn.between(a + 4.0, 0.6 * b);
        let (joint, ridge) = (10.0_f64.powi(3) * drawn.between(1.0, 900.0), drawn.between(0.5, 12.0));
        let base = of(Kind::Clamped, &rock(joint, ridge), a, b, c);
        let stiffer = of(Kind::Clamped, &rock(1.4 * joint, ridge), a, b, c);
        let firmer = of(Kind::Clamped, &rock(joint, 1.4 * ridge), a, b, c);
        let longer = of(Kind::Clamped, &rock(joint, ridge), a, b, c + 1.0);
        let hinged = of(Kind::Hinged, &rock(joint, ridge), a, b, c);
        let moment = |x: &Answer| x.abutments[0].distal_n_mm;
        let sinks = |x: &Answer| x.bases[0].sinks_mm;
        let held = [
            ("a stiffer joint bears more", stiffer.abutment_share > base.abutment_share),
            ("a stiffer joint carries more moment", moment(&stiffer) > moment(&base)),
            ("a stiffer joint relieves the ridge", stiffer.ridge_share < base.ridge_share),
            ("a stiffer joint lets the end sink less", sinks(&stiffer) < sinks(&base)),
            ("a firmer ridge lets the end sink less", sinks(&firmer) < sinks(&base)),
            ("a firmer ridge lowers the moment", moment(&firmer) < moment(&base)),
            ("a load farther back raises the moment", moment(&longer) > moment(&base)),
            ("the hinge bears less than the clamp", hinged.abutment_share < base.abutment_share),
            ("the hinge carries less moment", moment(&hinged).abs() < moment(&base)),
            ("shares add up", (base.abutment_share + base.ridge_share - 1.0).abs() < 1e-9),
            ("force and moment balance", base.balance_share < 1e-9 && hinged.balance_share < 1e-9),
        ];
        for (what, _) in held.iter().filter(|h| !h.1) {
            println!(
                "not so: {what} (ridge {a:.2} to {b:.2}, load at {c:.2}, joint {joint:.0}, bed {ridge:.2})"
            );
            failed += 1;
        }
    }
    failed
}

fn timed(path: &Path) {
    use saddleroom::case::{Case, Scan, file};
    let text = std::fs::read_to_string(path).expect("a case file");
    let rules = saddleroom::rules::Rules::standard();
    let read = file::parse(&text, &rules.ids()).expect("a good case file");
    let scan = |name: &Option<String>| -> Option<Scan> {
        let name = name.clone()?;
        let bytes = std::fs::read(path.with_file_name(&name)).expect("a scan");
        let import = saddleroom::load::read(&bytes, read.scans.unit).expect("a good scan");
        Some(Scan { file: name, sha256: String::new(), import, labels: None })
    };
    let (mandible, maxilla) = (scan(&read.scans.mandible), scan(&read.scans.maxilla));
    let case = Case::new(read, mandible, maxilla);
    let facts = saddleroom::facts::Facts::new(&case, &rules).expect("a scan of the restored arch");
    for check in saddleroom::checks::CHECKS
        .iter()
        .filter(|c| ["undercut", "clasp_arms", "support", "indications"].contains(&c.id))
    {
        let start = Instant::now();
        let part = (check.run)(&facts);
        println!(
            "{:<28} {:<12} {:>7.0} ms, {} findings",
            path.display(),
            check.id,
            start.elapsed().as_secs_f64() * 1e3,
            part.findings.len()
        );
    }
}

fn main() {
    let mut args = std::env::args().skip(1).peekable();
    let seed = args.peek().and_then(|s| s.parse().ok());
    if seed.is_some() {
        args.next();
    }
    let good = table();
    let failed = directions(seed.unwrap_or(8), 60);
    println!("60 drawn saddles, 11 directions each: {failed} not so");
    args.for_each(|path| timed(Path::new(&path)));
    assert!(good && failed == 0, "statics by hand and the model disagree");
}
