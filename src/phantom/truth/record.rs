//! All that is true of a pair, as one JSON record.

use super::super::cast::Cast;
use super::super::crown::CrownBody;
use super::super::patient::Pair;
use super::crest::stations;
use super::lingual::{End, wall};
use super::margin::{crown_of, margin};
use super::room::{Body, room};
use super::seats::seats;
use super::spans::spans;
use super::surfaces::{deepest, samples};
use super::survey;
use super::tori::{LOBE_MM, OUTLINE_MM, tori};
use super::undercut::{Path, occlusal};
use crate::case::{Arch, Side, Tooth};
use crate::space::{Direction, Point, Vector};
use crate::units::{json, json_direction, json_place};
use rayon::prelude::*;
use serde_json::{Value, json};

/// What a record is to hold. [`Wanted::of`] proposes it; every part may be changed.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The arch that gets the denture.
    pub restored: Arch,
    /// Teeth whose surfaces are surveyed.
    pub abutments: Vec<Tooth>,
    /// Directions of withdrawal, from the tissue to the occlusal side.
    pub withdrawals: Vec<Direction>,
    /// Crest lines, file positions.
    pub crests: Vec<Vec<Point>>,
    /// Bodies whose room is asked.
    pub bodies: Vec<Body>,
    /// Teeth below which the lingual wall is measured (mandible).
    pub lingual: Vec<Tooth>,
}

impl Wanted {
    /// Teeth beside every span as abutments, a crest for every span, a body of 6 by 4 mm on the first 8 mm of each, the
    /// withdrawal square to the occlusal plane, and the lingual wall below the abutments and the central incisors.
    pub fn of(pair: &Pair, restored: Arch) -> Wanted {
        let cast = pair.cast(restored);
        let mut spans = spans(cast);
        // A crest starts at the abutment in front: on the right side that is its end nearer to the midline.
        spans.iter_mut().filter(|s| s.is_bounded() && s.middle_s < 0.0).for_each(|s| s.crest.reverse());
        let up = occlusal(restored);
        let mut abutments: Vec<Tooth> = spans.iter().flat_map(|s| s.beside.clone()).collect();
        abutments.sort();
        abutments.dedup();
        let bodies = spans.iter().filter_map(|s| Body::behind(&s.crest, up, CLEAR_MM)).collect();
        let mut lingual = abutments.clone();
        if restored == Arch::Mandible {
            lingual.extend([31, 41].into_iter().filter_map(Tooth::fdi));
        } else {
            lingual.clear();
        }
        let crests = spans.into_iter().map(|s| s.crest).collect();
        Wanted { restored, abutments, withdrawals: vec![up], crests, bodies, lingual }
    }
}

/// How far behind the front end of its crest a body stands, mm.
const CLEAR_MM: f64 = 1.5;
/// Distance between the margins' points, mm.
const MARGIN_MM: f64 = 0.6;
/// Columns and rows of the undercut samples of an abutment.
const SAMPLES: (usize, usize) = (12, 2);
/// Each so many points of a lingual section are written: 0.24 mm.
const SECTION: usize = 8;

/// The record. Lengths are mm, positions are those of the files.
pub fn record(pair: &Pair, wanted: &Wanted) -> Value {
    let (restored, opposing) = (pair.cast(wanted.restored), pair.cast(wanted.restored.opposing()));
    let opening = occlusal(wanted.restored);
    let abutments: Vec<&CrownBody> = wanted.abutments.iter().filter_map(|t| crown_of(restored, *t)).collect();
    let paths: Vec<Value> =
        wanted.withdrawals.iter().map(|d| path(&Path::new(restored, d), &abutments)).collect();
    let crests: Vec<Value> = wanted.crests.iter().map(|c| crest_list(opposing, c, &opening)).collect();
    let bodies: Vec<Value> = wanted.bodies.iter().map(|b| body(restored, opposing, b)).collect();
    json!({
        "restored_arch": wanted.restored.word(),
        "occlusal_mm": json_direction(&opening),
        "occlusal_plane": { "point_mm": json_place(&restored.own(&Point::origin())), "normal": json_direction(&opening) },
        "teeth": teeth(restored),
        "crests": crests,
        "bodies": bodies,
        "paths": paths,
        "tori": torus_list(restored),
        "lingual_walls": walls(restored, &wanted.lingual),
        "rest_seats": seat_list(restored, opposing, &opening),
    })
}

fn places(list: &[Point]) -> Vec<[f64; 3]> {
    list.iter().map(json_place).collect()
}

fn teeth(cast: &Cast) -> Vec<Value> {
    let one = |crown: &CrownBody| {
        json!({
            "tooth": crown.tooth.number(),
            "margin_mm": places(&margin(cast, crown, MARGIN_MM)),
        })
    };
    cast.crowns.par_iter().map(one).collect()
}

fn crest_list(opposing: &Cast, line: &[Point], opening: &Vector) -> Value {
    let one = |s: &super::crest::Station| {
        json!({
            "at_mm": json_place(&s.at),
            "along_opening_mm": s.along_mm.map(json),
            "nearest_mm": s.nearest_mm().map(json),
            "nearest_at_mm": s.nearest_at.as_ref().map(json_place),
        })
    };
    stations(opposing, line, opening).iter().map(one).collect()
}

fn body(restored: &Cast, opposing: &Cast, body: &Body) -> Value {
    let found = room(restored, opposing, body);
    json!({
        "centre_mm": json_place(&body.centre),
        "up": json_direction(&body.up),
        "along": json_direction(&body.along),
        "length_mm": json(body.length_mm),
        "width_mm": json(body.width_mm),
        "room_mm": found.map(|r| json(r.room_mm)),
        "pointwise_mm": found.map(|r| json(r.pointwise_mm)),
        "tissue_at_mm": found.map(|r| json_place(&r.tissue_at)),
        "opposing_at_mm": found.map(|r| json_place(&r.opposing_at)),
    })
}

fn path(path: &Path<'_>, abutments: &[&CrownBody]) -> Value {
    let one = |crown: &&CrownBody| {
        let surfaces: Vec<Value> = deepest(path, crown)
            .iter()
            .map(|d| {
                json!({
                    "surface": d.surface,
                    "deepest_mm": json(d.depth_mm),
                    "deepest_at_mm": json_place(&d.at),
                })
            })
            .collect();
        let line = survey::line(path, crown);
        let places: Vec<[f64; 3]> = line.iter().map(|p| json_place(&p.at)).collect();
        let shown: Vec<bool> = line.iter().map(|p| p.shown).collect();
        let depths: Vec<Value> = samples(path, crown, SAMPLES.0, SAMPLES.1)
            .iter()
            .map(|(p, mm)| json!({ "at_mm": json_place(p), "undercut_mm": json(*mm) }))
            .collect();
        json!({
            "tooth": crown.tooth.number(),
            "surfaces": surfaces,
            "survey_line_mm": places,
            "survey_line_shown": shown,
            "places": depths,
        })
    };
    let abutments: Vec<Value> = abutments.par_iter().map(one).collect();
    json!({ "withdrawal": json_direction(path.withdrawal()), "abutments": abutments })
}

fn torus_list(cast: &Cast) -> Vec<Value> {
    let lobe = |l: &super::tori::Lobe| {
        json!({
            "summit_mm": json_place(&l.summit),
            "height_mm": json(l.height_mm),
            "saddle_mm": l.saddle_mm.map(json),
        })
    };
    tori(cast)
        .iter()
        .filter_map(|t| {
            let highest = t.lobes.first()?;
            let side = match t.side {
                Some(Side::Left) => "left",
                Some(Side::Right) => "right",
                None => "midline",
            };
            Some(json!({
                "side": side,
                "summit_mm": json_place(&highest.summit),
                "height_mm": json(highest.height_mm),
                "length_mm": json(t.length_mm()),
                "outline_at_mm": OUTLINE_MM,
                "outline_mm": places(&t.outline),
                "outline_closed": t.closed,
                "lobe_saddle_mm": LOBE_MM,
                "lobes": t.lobes.iter().map(lobe).collect::<Vec<Value>>(),
            }))
        })
        .collect()
}

fn walls(cast: &Cast, teeth: &[Tooth]) -> Vec<Value> {
    let one = |tooth: &Tooth| {
        let w = wall(cast, *tooth)?;
        let last = w.line.len().saturating_sub(1);
        let line: Vec<[f64; 3]> =
            (0..last).step_by(SECTION).chain([last]).map(|i| json_place(&w.line[i])).collect();
        Some(json!({
            "tooth": tooth.number(),
            "along_mm": json(w.along_mm),
            "vertical_mm": json(w.vertical_mm),
            "end": if w.end == End::Floor { "floor" } else { "scan_border" },
            "section_normal": json_direction(&w.normal),
            "line_mm": line,
        }))
    };
    teeth.par_iter().map(one).collect::<Vec<Option<Value>>>().into_iter().flatten().collect()
}

fn seat_list(cast: &Cast, opposing: &Cast, opening: &Vector) -> Vec<Value> {
    seats(cast, opposing, opening)
        .iter()
        .map(|s| {
            let place = match s.local {
                [u, v, _] if u.abs() >= v.abs() => {
                    if u < 0.0 {
                        "mesial"
                    } else {
                        "distal"
                    }
                }
                [_, v, _] => {
                    if v < 0.0 {
                        "lingual"
                    } else {
                        "buccal"
                    }
                }
            };
            json!({
                "tooth": s.tooth.number(),
                "place": place,
                "floor_mm": json_place(&s.floor),
                "axis": json_direction(&s.axis),
                "depth_mm": json(s.depth_mm),
                "square_depth_mm": json(s.square_depth_mm),
                "room_mm": s.room_mm.map(json),
                "ridge": s.ridge.map(|r| json!({
                    "floor_mm": json_place(&r.floor),
                    "depth_mm": json(r.depth_mm),
                    "width_mm": json(r.width_mm),
                    "room_mm": r.room_mm.map(json),
                })),
            })
        })
        .collect()
}
