//! Draws patients by seed, cuts rest seats into some of their teeth, scans both arches and reads every place at which a
//! rest can lie: how many seats are found, how far depth and place are off, and what is called a seat on untouched teeth.
//! `cargo run --release --example accept_seats -- [FIRST LAST]` prints the tables of `docs/method/rest_seats.md`.

#![allow(clippy::print_stdout)] // an example shows its result

mod seeds;

use saddleroom::anatomy::{Anatomy, KnownFrame, crowns};
use saddleroom::case::{Arch, RestPlace};
use saddleroom::facts::seats::confidence;
use saddleroom::locate::Surface;
use saddleroom::measure::rest_room;
use saddleroom::measure::rest_seat::{self, SeatAsked};
use saddleroom::measure::tooth_axes::ToothAxes;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::cast::Cast;
use saddleroom::phantom::crown::SeatKind;
use saddleroom::phantom::field::Variety;
use saddleroom::phantom::patient::casts;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth::seats::{SeatTruth, seats};
use saddleroom::phantom::{people, truth};
use saddleroom::space::{Frame, Point, Vector};

/// Confidence from which a recess is called a seat.
const LEAST: f64 = 0.7;

/// One place of one tooth.
struct Row {
    place: RestPlace,
    truth: Option<f64>,
    found: Option<f64>,
    off_mm: Option<f64>,
    alone: f64,
    named: f64,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (first, last) = seeds::asked((101, 101))?;
    let mut rows = Vec::new();
    let mut borders = [Vec::new(), Vec::new()];
    for seed in first..=last {
        let mut patient = people::drawn(seed);
        patient.seats.clear();
        let pair = casts(&patient);
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let mut cast = pair.cast(arch).clone();
            let mut variety = Variety::new(1000 * seed + u64::from(arch == Arch::Maxilla));
            cut(&mut cast, &mut variety);
            let edge = 0.36 + 0.12 * variety.even();
            let mesh = scan(&cast, &density(edge, 1.3));
            let other = scan(pair.cast(arch.opposing()), &density(0.5, 1.3));
            let known = seats(&cast, pair.cast(arch.opposing()), &truth::occlusal(arch));
            let other = Surface::new(&other);
            rows.extend(read(&cast, &mesh, &other, &known, 0));
            // The border of every crown grown over, and given up to, its neighbours by one ring of triangles.
            for (k, grown) in [1, -1].into_iter().enumerate() {
                borders[k].extend(read(&cast, &mesh, &other, &known, grown));
            }
        }
    }
    println!("Seeds {first} to {last}.\n");
    table("Crowns as they are", &rows);
    table(
        "Crowns whose borders take a ring of triangles from the neighbour with the higher number",
        &borders[0],
    );
    table(
        "Crowns whose borders take a ring of triangles from the neighbour with the lower number",
        &borders[1],
    );
    let missed = rows.iter().filter(|r| r.truth.is_none() && r.alone >= LEAST).count();
    if missed > rows.len() / 50 {
        Err(format!("{missed} untouched places called seats").into())
    } else {
        Ok(())
    }
}

fn density(teeth_mm: f64, tissue_mm: f64) -> Density {
    Density {
        cell_mm: teeth_mm,
        fine_mm: Some(teeth_mm),
        teeth_mm,
        tissue_mm,
        fine_teeth: Vec::new(),
        fine_ridges: Vec::new(),
    }
}

/// Cuts seats of various depth into every third tooth or so.
fn cut(cast: &mut Cast, variety: &mut Variety) {
    for crown in &mut cast.crowns {
        let (roll, deep) = (variety.even(), 1.0 + 0.3 * variety.even());
        let kind = match (crown.tooth.place() >= 4, roll) {
            (true, r) if r < -0.6 => SeatKind::Mesial,
            (true, r) if r < -0.2 => SeatKind::Distal,
            (false, r) if r < -0.6 => SeatKind::Cingulum,
            (false, r) if r < -0.4 && crown.tooth.place() == 3 => SeatKind::IncisalDistal,
            _ => continue,
        };
        crown.prepare(kind);
        if let Some(seat) = crown.seats.last_mut() {
            let wanted = seat.depth * deep;
            seat.centre[2] += seat.depth - wanted;
            seat.depth = wanted;
        }
    }
}

fn read(cast: &Cast, mesh: &Mesh, other: &Surface, known: &[SeatTruth], grown: i32) -> Vec<Row> {
    let topology = Topology::new(mesh);
    let surface = Surface::new(mesh);
    let labels = labels(cast, mesh, &topology, grown);
    let up = truth::occlusal(cast.arch);
    let Some(frame) = Frame::new(Point::origin(), up, Vector::y(), cast.arch == Arch::Mandible) else {
        return Vec::new();
    };
    let frame = KnownFrame::given(frame, 1.0);
    let anatomy = Anatomy {
        crowns: crowns::from_labels(&surface, &topology, &labels),
        tooth_of: labels,
        ..Anatomy::bare(Ok(frame), mesh.vertices().len())
    };
    let mut rows = Vec::new();
    for crown in &anatomy.crowns {
        let Ok(axes) = ToothAxes::of(mesh, crown, &anatomy) else { continue };
        for (place, seat) in rest_seat::read_all(&SeatAsked { mesh, topology: &topology, crown, axes }) {
            let here = |s: &&SeatTruth| s.tooth == crown.tooth && kind(cast, s) == Some(place);
            let known = known.iter().find(here);
            let seat = seat.ok();
            let room = seat.as_ref().and_then(|s| rest_room::over_floor(&surface, crown, other, &up, &s.at));
            let floor = known.map(|k| k.ridge.map_or((k.floor, k.depth_mm), |r| (r.floor, r.depth_mm)));
            rows.push(Row {
                place,
                truth: floor.map(|f| f.1),
                found: seat.and_then(|s| s.depth_mm),
                off_mm: seat.zip(floor).map(|(s, f)| (s.at - f.0).norm()),
                alone: confidence(seat.as_ref(), room.as_ref(), false),
                named: confidence(seat.as_ref(), room.as_ref(), true),
            });
        }
    }
    rows
}

fn kind(cast: &Cast, seat: &SeatTruth) -> Option<RestPlace> {
    let crown = cast.crowns.iter().find(|c| c.tooth == seat.tooth)?;
    Some(match crown.seats.get(seat.number)?.kind {
        SeatKind::Mesial => RestPlace::Mesial,
        SeatKind::Distal => RestPlace::Distal,
        SeatKind::Cingulum => RestPlace::Cingulum,
        SeatKind::IncisalMesial | SeatKind::IncisalDistal => RestPlace::Incisal,
    })
}

fn labels(cast: &Cast, mesh: &Mesh, topology: &Topology, grown: i32) -> Vec<u8> {
    let exact = truth::labels(cast, mesh.vertices());
    let taken = |v: usize| {
        let takes = |&n: &u8| n != 0 && (i32::from(n) - i32::from(exact[v])) * grown < 0;
        let beside = topology.neighbours(mesh, v as u32).into_iter().map(|n| exact[n as usize]);
        if exact[v] == 0 || grown == 0 { exact[v] } else { beside.filter(takes).max().unwrap_or(exact[v]) }
    };
    (0..exact.len()).map(taken).collect()
}

fn table(title: &str, rows: &[Row]) {
    println!("{title}\n");
    println!(
        "| place | seats | found | uncertain | found where named | depth off: middle, 90 % | place off: middle, 90 % | untouched | called seats | uncertain |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for (name, places) in [
        ("mesial, distal", vec![RestPlace::Mesial, RestPlace::Distal]),
        ("cingulum", vec![RestPlace::Cingulum]),
        ("incisal", vec![RestPlace::Incisal]),
    ] {
        let of: Vec<&Row> = rows.iter().filter(|r| places.contains(&r.place)).collect();
        let (cut, whole): (Vec<&Row>, Vec<&Row>) = of.into_iter().partition(|r| r.truth.is_some());
        let count = |list: &[&Row], by: &dyn Fn(&Row) -> bool| list.iter().filter(|r| by(r)).count();
        let unsure = |r: &Row| r.alone > 1.0 - LEAST && r.alone < LEAST;
        let mut deep: Vec<f64> = cut.iter().filter_map(|r| Some((r.found? - r.truth?).abs())).collect();
        let mut off: Vec<f64> = cut.iter().filter_map(|r| r.off_mm).collect();
        println!(
            "| {name} | {} | {} | {} | {} | {} mm | {} mm | {} | {} | {} |",
            cut.len(),
            count(&cut, &|r| r.alone >= LEAST),
            count(&cut, &unsure),
            count(&cut, &|r| r.named >= LEAST),
            shares(&mut deep),
            shares(&mut off),
            whole.len(),
            count(&whole, &|r| r.alone >= LEAST),
            count(&whole, &unsure),
        );
    }
    println!();
}

/// The middle value and that under which nine in ten lie.
fn shares(values: &mut [f64]) -> String {
    values.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let i = (share * values.len() as f64) as usize;
        values.get(i).map_or("-".to_owned(), |v| saddleroom::units::digits(*v, 2))
    };
    format!("{}, {}", at(0.5), at(0.9))
}
