//! The cases that `saddleroom demo` writes. Each is invented and named after a harbour.

use super::cast::Cast;
use super::patient::{
    ArchShape, Ending, LobeWish, Pair, PalatalWish, Patient, RidgeForm, SeatPlace, Stance, TorusWish, casts,
};
use super::scan::{Density, scan};
use super::{case_readme, case_text};
use super::{stl, truth};
use crate::case::{Arch, Side, Tooth};
use crate::space::Point;

/// Names of the cases.
pub const NAMES: &[&str] = &["oban", "cromer", "whitby", "lerwick"];

/// A demonstration case: a patient, and what is planned.
#[derive(Clone, Debug)]
pub struct Named {
    /// Its name.
    pub name: &'static str,
    /// What it shows, for the head of its case file.
    pub about: &'static str,
    /// The patient.
    pub patient: Patient,
    /// The arch that gets the denture.
    pub restored: Arch,
    /// Word for `[design] request`.
    pub request: &'static str,
    /// Abutments.
    pub abutments: Vec<Tooth>,
    /// Clasps: tooth, surface, kind.
    pub clasps: Vec<(Tooth, &'static str, &'static str)>,
    /// Height and tooth of the attachment, mm; `None` where none is planned.
    pub attachment: Option<[f64; 2]>,
    /// Lingual depths that a probe found, mm.
    pub probe: Vec<(Tooth, f64)>,
    /// Stretches of ridge that are scanned finely, mm along the arch.
    pub fine_ridges: Vec<[f64; 2]>,
}

impl Named {
    /// Crest lines of its spans: distal extensions from 1 mm behind the abutment, bounded ones from wall to wall.
    pub fn crests(&self, pair: &Pair) -> Vec<Vec<Point>> {
        spans(pair.cast(self.restored))
    }

    /// Density of the scan of an arch.
    pub fn density(&self, arch: Arch) -> Density {
        let restored = arch == self.restored;
        let opposite = |t: &Tooth| Tooth::at(arch, t.along());
        Density {
            cell_mm: 0.42,
            fine_mm: Some(0.40),
            teeth_mm: 0.56,
            tissue_mm: if self.patient.ending == Ending::Trimmed { 1.15 } else { 1.0 },
            fine_teeth: if restored {
                self.abutments.clone()
            } else {
                self.patient.missing.iter().filter(|t| t.arch() != arch).filter_map(opposite).collect()
            },
            fine_ridges: if restored { self.fine_ridges.clone() } else { Vec::new() },
        }
    }
}

/// A case by its name; `None` for a name not in [`NAMES`].
pub fn named(name: &str) -> Option<Named> {
    match name {
        "oban" => Some(oban()),
        "cromer" => Some(cromer()),
        "whitby" => Some(whitby()),
        "lerwick" => Some(lerwick()),
        _ => None,
    }
}

/// The pair of casts that a case was scanned from; `None` for a name not in [`NAMES`].
pub fn pair(name: &str) -> Option<Pair> {
    named(name).map(|case| casts(&case.patient))
}

/// Files of a case as (file name, bytes), ready to be written into one directory; empty for a name not in [`NAMES`].
pub fn files(name: &str) -> Vec<(String, Vec<u8>)> {
    named(name).map_or_else(Vec::new, |case| files_of(&case))
}

/// Files of a described case.
pub fn files_of(case: &Named) -> Vec<(String, Vec<u8>)> {
    let (name, pair) = (case.name, casts(&case.patient));
    let (lower, upper) = rayon::join(
        || scan(&pair.mandible, &case.density(Arch::Mandible)),
        || scan(&pair.maxilla, &case.density(Arch::Maxilla)),
    );
    let truth = truth_of(case, &pair);
    vec![
        ("mandible.stl".to_owned(), stl::binary(&lower, &format!("phantom {name}, mandible"))),
        ("maxilla.stl".to_owned(), stl::binary(&upper, &format!("phantom {name}, maxilla"))),
        ("case.toml".to_owned(), case_text::case(case, &pair).into_bytes()),
        ("truth.json".to_owned(), format!("{truth:#}\n").into_bytes()),
        ("README.md".to_owned(), case_readme::page(case, &truth).into_bytes()),
    ]
}

fn teeth(numbers: &[u8]) -> Vec<Tooth> {
    numbers.iter().filter_map(|n| Tooth::fdi(*n)).collect()
}

fn seats(list: &[(u8, SeatPlace)]) -> Vec<(Tooth, SeatPlace)> {
    list.iter().filter_map(|(n, place)| Tooth::fdi(*n).map(|t| (t, *place))).collect()
}

fn clasps(list: &[(u8, &'static str, &'static str)]) -> Vec<(Tooth, &'static str, &'static str)> {
    list.iter().filter_map(|(n, surface, kind)| Tooth::fdi(*n).map(|t| (t, *surface, *kind))).collect()
}

fn probe(list: &[(u8, f64)]) -> Vec<(Tooth, f64)> {
    list.iter().filter_map(|(n, mm)| Tooth::fdi(*n).map(|t| (t, *mm))).collect()
}

fn stances(list: &[(u8, fn(&mut Stance))]) -> Vec<Stance> {
    list.iter()
        .filter_map(|(n, change)| {
            let mut stance = Stance::of(Tooth::fdi(*n)?);
            change(&mut stance);
            Some(stance)
        })
        .collect()
}

/// A patient of average size with all teeth but third molars.
fn plain(seed: u64) -> Patient {
    let ridge = RidgeForm { group: 1.5, width: 1.0, overhang: 0.0 };
    Patient {
        seed,
        size: 1.0,
        shape: ArchShape::AVERAGE,
        missing: Vec::new(),
        third_molars: Vec::new(),
        ridges: [ridge; 2],
        tori: Vec::new(),
        palatal: Vec::new(),
        seats: Vec::new(),
        stances: Vec::new(),
        opened_mm: 0.0,
        unevenness: 0.6,
        ending: Ending::Open,
        palate: true,
    }
}

/// The patient of `oban`: mandible, Kennedy class II modification 1, one torus on the left, ample room.
pub fn oban_patient() -> Patient {
    Patient {
        missing: teeth(&[36, 37, 45]),
        tori: vec![TorusWish {
            side: Side::Left,
            lobes: vec![LobeWish {
                place: 4.6,
                below_crest_mm: 6.2,
                height_mm: 3.0,
                length_mm: 11.0,
                width_mm: 6.2,
            }],
        }],
        seats: seats(&[(35, SeatPlace::Mesial), (44, SeatPlace::Distal), (46, SeatPlace::Mesial)]),
        // The abutment leans out a little, which gives its buccal wall an undercut.
        stances: stances(&[(35, |s| s.buccal_deg = 5.0)]),
        ..plain(3)
    }
}

fn oban() -> Named {
    Named {
        name: "oban",
        about: "A mandible with both molars gone on the left and a premolar on the right, ample room, one torus",
        patient: oban_patient(),
        restored: Arch::Mandible,
        request: "hinge",
        abutments: teeth(&[35, 44, 46]),
        clasps: clasps(&[(35, "buccal", "cast_circumferential"), (46, "lingual", "cast_circumferential")]),
        attachment: Some([3.0, 2.0]),
        probe: probe(&[(31, 10.0), (35, 12.5), (41, 10.0), (44, 12.0)]),
        fine_ridges: vec![[28.0, 62.0], [-35.0, -22.0]],
    }
}

/// Mandible, class I, no tori, knife-edge ridges with lingual undercut, tight room: the upper molars have grown down.
fn cromer() -> Named {
    let patient = Patient {
        size: 0.97,
        shape: ArchShape { width: 0.97, depth: 1.02, power: 2.4, skew: -0.02, sphere_mm: 100.0 },
        missing: teeth(&[35, 36, 37, 46, 47]),
        ridges: [
            RidgeForm { group: 1.2, width: 0.36, overhang: 0.20 },
            RidgeForm { group: 1.5, width: 1.0, overhang: 0.0 },
        ],
        seats: seats(&[(34, SeatPlace::Mesial), (45, SeatPlace::Mesial)]),
        stances: stances(&[
            (25, |s| s.erupted_mm = 3.0),
            (26, |s| s.erupted_mm = 3.6),
            (27, |s| s.erupted_mm = 2.8),
            (16, |s| s.erupted_mm = 3.4),
            (17, |s| s.erupted_mm = 2.6),
            (33, |s| s.turn_deg = 8.0),
            (42, |s| s.out_mm = -0.8),
        ]),
        unevenness: 0.9,
        ending: Ending::Trimmed,
        ..plain(11)
    };
    Named {
        name: "cromer",
        about: "A mandible with molars gone on both sides, knife-edge ridges, and upper molars that have grown down",
        patient,
        restored: Arch::Mandible,
        request: "hinge",
        abutments: teeth(&[34, 45]),
        clasps: clasps(&[(34, "buccal", "bar"), (45, "buccal", "bar")]),
        attachment: None,
        probe: probe(&[(31, 9.0), (34, 10.5), (41, 9.0), (45, 10.0)]),
        fine_ridges: vec![[20.0, 58.0], [-58.0, -24.0]],
    }
}

/// Mandible, class III modification 1, short room, two-lobed tori on both sides, tipped molars.
fn whitby() -> Named {
    let lobe = |place, below_crest_mm, height_mm, length_mm| LobeWish {
        place,
        below_crest_mm,
        height_mm,
        length_mm,
        width_mm: 6.0,
    };
    let patient = Patient {
        size: 1.03,
        shape: ArchShape { width: 1.02, depth: 0.98, power: 2.8, skew: 0.02, sphere_mm: 112.0 },
        missing: teeth(&[36, 45, 46]),
        third_molars: teeth(&[38]),
        ridges: [
            RidgeForm { group: 1.1, width: 1.05, overhang: 0.0 },
            RidgeForm { group: 1.5, width: 1.0, overhang: 0.0 },
        ],
        tori: vec![
            TorusWish { side: Side::Left, lobes: vec![lobe(3.7, 5.6, 2.6, 6.5), lobe(4.9, 6.0, 3.4, 6.8)] },
            TorusWish { side: Side::Right, lobes: vec![lobe(3.7, 5.8, 3.0, 7.0), lobe(4.7, 6.1, 2.5, 7.0)] },
        ],
        seats: seats(&[
            (35, SeatPlace::Distal),
            (37, SeatPlace::Mesial),
            (44, SeatPlace::Distal),
            (47, SeatPlace::Mesial),
        ]),
        stances: stances(&[
            (37, |s| {
                s.mesial_deg = 12.0;
                s.distal_mm = -1.2;
            }),
            (47, |s| s.mesial_deg = 9.0),
            (26, |s| s.erupted_mm = 3.4),
            (16, |s| s.erupted_mm = 3.6),
            (15, |s| s.erupted_mm = 2.8),
        ]),
        unevenness: 0.8,
        ..plain(23)
    };
    Named {
        name: "whitby",
        about: "A mandible with bounded gaps on both sides, too little height over them, and two-lobed tori",
        patient,
        restored: Arch::Mandible,
        request: "rigid",
        abutments: teeth(&[35, 37, 44, 47]),
        clasps: clasps(&[
            (35, "buccal", "cast_circumferential"),
            (37, "buccal", "cast_circumferential"),
            (44, "buccal", "cast_circumferential"),
            (47, "buccal", "cast_circumferential"),
        ]),
        attachment: None,
        probe: probe(&[(31, 9.5), (35, 11.0), (41, 9.5), (44, 11.5)]),
        fine_ridges: vec![[26.0, 46.0], [-46.0, -20.0]],
    }
}

/// Maxilla, class II, palatal torus.
fn lerwick() -> Named {
    let patient = Patient {
        shape: ArchShape { width: 1.01, depth: 1.0, power: 2.7, skew: 0.01, sphere_mm: 105.0 },
        missing: teeth(&[25, 26, 27]),
        ridges: [
            RidgeForm { group: 1.5, width: 1.0, overhang: 0.0 },
            RidgeForm { group: 1.7, width: 1.3, overhang: 0.0 },
        ],
        palatal: vec![PalatalWish {
            behind_mm: 27.0,
            height_mm: 3.2,
            length_mm: 17.0,
            width_mm: 10.0,
            left_mm: 0.4,
        }],
        seats: seats(&[(24, SeatPlace::Mesial), (16, SeatPlace::Mesial), (14, SeatPlace::Distal)]),
        unevenness: 0.7,
        ending: Ending::Trimmed,
        ..plain(32)
    };
    Named {
        name: "lerwick",
        about: "A maxilla that ends behind the first premolar on the left, with a torus on the palate",
        patient,
        restored: Arch::Maxilla,
        request: "rigid",
        abutments: teeth(&[24, 14, 16]),
        clasps: clasps(&[(24, "buccal", "wrought_wire"), (16, "buccal", "cast_circumferential")]),
        attachment: None,
        probe: Vec::new(),
        fine_ridges: vec![[24.0, 60.0]],
    }
}

/// How far behind the front end of a crest the body stands whose room is known, mm.
const CLEAR_MM: f64 = 1.0;

/// What is true of a case, from its distance function.
fn truth_of(case: &Named, pair: &Pair) -> serde_json::Value {
    let crests = case.crests(pair);
    let up = truth::occlusal(case.restored);
    let bodies = crests.iter().filter_map(|c| truth::Body::behind(c, up, CLEAR_MM)).collect();
    let probed: Vec<Tooth> = case.probe.iter().map(|(tooth, _)| *tooth).collect();
    let wanted = truth::Wanted {
        restored: case.restored,
        abutments: case.abutments.clone(),
        withdrawals: vec![up],
        crests,
        bodies,
        lingual: probed,
    };
    truth::record(pair, &wanted)
}

/// Crest lines of the spans of a cast.
pub fn spans(cast: &Cast) -> Vec<Vec<Point>> {
    truth::spans(cast).into_iter().map(|s| s.crest).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_case_has_no_files() {
        assert!(files("nowhere").is_empty());
    }
}
