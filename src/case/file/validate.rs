//! From the tables as written to a case that can be worked on: ranges, what must be there, what must agree.

use std::collections::BTreeMap;

use super::places::{Ground, marks};
use super::problem::{Sheet, nearest};
use super::raw::{RawAccuracy, RawArticulation, RawAttachment, RawCase, RawPath, RawProbe, RawScans};
use super::read::{BothSides, Given, Named, Placed};
use super::teeth::{Numbering, chart, design, required};
use crate::case::{
    Accuracy, Arch, Attachment, AttachmentByMesh, AttachmentMesh, AttachmentRest, CaseFile, Chart,
    PathWanted, Relation, Scans, Tooth,
};
use crate::space::{Motion, Tilt, Vector, direction};
use crate::units;

/// Greatest length of a part in a mouth; above it the unit must be wrong. An arch is 30 to 120 mm across.
const LONGEST_PART_MM: f64 = 100.0;
/// Beyond this lean a withdrawal direction lies nearly in the occlusal plane.
const STEEPEST_DEG: f64 = 80.0;
/// Standard uncertainty above which no figure of a mouth means anything.
const WORST_ACCURACY_MM: f64 = 5.0;
/// Longest name of a case, characters.
const LONGEST_ID: usize = 80;

/// Validates the whole file. `None` where the restored arch or the notation cannot be told; every problem is on the
/// sheet.
pub(super) fn case(raw: &RawCase, known_limits: &[&str], sheet: &mut Sheet) -> Option<CaseFile> {
    let restored = raw.restored_arch.value().map(|w| w.0);
    if restored.is_none() && !sheet.names("restored_arch") {
        let mend = "add restored_arch = \"mandible\" or \"maxilla\": the arch that gets the denture";
        sheet.put("restored_arch", None, "the restored arch is not given", mend);
    }
    let notation = raw.chart.value().and_then(|c| c.notation.value()).map(|w| w.0).unwrap_or_default();
    let numbering = Numbering { notation, restored };
    let id = id(&raw.id, sheet);
    let scans = scans(&raw.scans, restored, sheet);
    let path = path(&raw.path, sheet);
    let withdrawal_length = withdrawal_length(&raw.path);
    let (attachment, attachment_by_mesh) = attachment(&raw.attachment, sheet);
    let accuracy = accuracy(&raw.accuracy, sheet);
    let mut limits = limits(&raw.limits, known_limits, sheet);
    of_the_joint(&raw.articulation, &mut limits, sheet);
    let relation = relation(&raw.articulation, sheet);
    let motion = raw.articulation.value().and_then(|a| a.opposing_motion.get());
    if let (Some(place), Some(_)) = (motion, &scans.bite) {
        let says = "the relation is given twice: by the scan of the bite and by a motion";
        sheet.at(place, says, "keep one of the two");
    }
    if sheet.names("chart.notation") {
        // No tooth number can be judged before it is known how they are written.
        return None;
    }
    let chart = chart(&raw.chart, numbering, sheet);
    let ground = Ground { numbering, chart: chart.as_ref(), unit: scans.unit };
    let design = design(&raw.design, chart.as_ref(), numbering, sheet);
    let marks = marks(&raw.marks, ground, sheet);
    let support = super::support::support(&raw.support, ground, sheet);
    let probe_mm = probe(&raw.probe, chart.as_ref(), numbering, sheet);
    Some(CaseFile {
        id,
        path,
        withdrawal_length,
        attachment,
        attachment_by_mesh,
        accuracy,
        relation,
        limits,
        restored: restored?,
        scans,
        notation,
        chart,
        design,
        support,
        probe_mm,
        marks,
    })
}

fn id(raw: &Given<String>, sheet: &mut Sheet) -> String {
    let Some(place) = raw.get() else { return "unnamed".into() };
    let id = place.value.trim();
    let mend = "write a short name without personal data, such as \"oban\"";
    if id.is_empty() {
        sheet.at(place, "the name of the case is empty", mend);
    } else if id.chars().count() > LONGEST_ID {
        sheet.at(place, format!("the name of the case is longer than {LONGEST_ID} characters"), mend);
    } else if id.contains(['/', '\\']) || id.chars().any(char::is_control) {
        sheet.at(place, "the name of the case holds a path separator or a control character", mend);
    }
    id.to_owned()
}

fn scans(raw: &Given<RawScans>, restored: Option<Arch>, sheet: &mut Sheet) -> Scans {
    let Some(place) = raw.get() else {
        if !sheet.names("scans") {
            let mend = "add [scans] with mandible = \"..\" and maxilla = \"..\"";
            sheet.put("scans", None, "no scans are given", mend);
        }
        return Scans::default();
    };
    let s = &place.value;
    let mut name = |given: &Given<String>| {
        let file = given.get()?;
        if file.value.trim().is_empty() {
            sheet.at(file, "the file name is empty", "name the scan file, relative to this case file");
        }
        Some(file.value.clone())
    };
    let scans = Scans {
        mandible: name(&s.mandible),
        maxilla: name(&s.maxilla),
        bite: name(&s.bite),
        mandible_labels: name(&s.mandible_labels),
        maxilla_labels: name(&s.maxilla_labels),
        unit: s.unit.value().map(|w| w.0).unwrap_or_default(),
    };
    let given =
        [(Arch::Mandible, &s.mandible, &s.mandible_labels), (Arch::Maxilla, &s.maxilla, &s.maxilla_labels)];
    for (arch, scan, labels) in given {
        let key = format!("scans.{}", arch.word());
        if scan.get().is_some() || sheet.names(&key) {
            continue;
        }
        if Some(arch) == restored {
            let says = format!("the {0} is the restored arch, but its scan is not given", arch.word());
            sheet.put(
                &key,
                Some(place.span.clone()),
                says,
                format!("add {} = \"..\" under [scans]", arch.word()),
            );
        }
        if let Some(labels) = labels.get() {
            let says = format!("there are labels for the {0}, but no scan of it", arch.word());
            sheet.at(labels, says, format!("add {} = \"..\", or take the labels out", arch.word()));
        }
    }
    scans
}

/// Length of the withdrawal direction as it is given.
fn withdrawal_length(raw: &Given<RawPath>) -> Option<f64> {
    let [x, y, z] = raw.value()?.withdrawal.get()?.value;
    Some(crate::space::hypot(crate::space::hypot(x, y), z))
}

fn path(raw: &Given<RawPath>, sheet: &mut Sheet) -> PathWanted {
    let Some(raw) = raw.value() else { return PathWanted::Searched };
    if let (Some(_), Some(tilt)) = (raw.withdrawal.get(), raw.tilt_deg.get()) {
        let says = "the path is given twice: as withdrawal and as tilt_deg";
        sheet.at(tilt, says, "keep one of the two");
    }
    if let Some(place) = raw.withdrawal.get() {
        let [x, y, z] = place.value;
        // Scaled first, so that neither huge nor tiny numbers are lost when they are squared.
        let most = x.abs().max(y.abs()).max(z.abs());
        let unit = (most > 0.0).then(|| Vector::new(x / most, y / most, z / most)).and_then(direction);
        return match unit {
            Some(unit) => PathWanted::Withdrawal(unit),
            None => {
                let mend = "give the direction in which the denture comes out, such as [0.0, 0.0, 1.0]";
                sheet.at(place, "the withdrawal direction has no length", mend);
                PathWanted::Searched
            }
        };
    }
    let Some(tilt) = raw.tilt_deg.value() else { return PathWanted::Searched };
    for angle in [tilt.anterior.get(), tilt.left.get()].into_iter().flatten() {
        if angle.value.abs() > STEEPEST_DEG {
            let says = format!("a tilt of more than {} is no path of insertion", units::deg(STEEPEST_DEG));
            sheet.at(angle, says, "give degrees from the occlusal normal; 0 to 15 are usual");
        }
    }
    PathWanted::Tilt(Tilt {
        anterior_deg: tilt.anterior.value().copied().unwrap_or(0.0),
        left_deg: tilt.left.value().copied().unwrap_or(0.0),
    })
}

/// A size that has to be greater than nothing and small enough for a mouth.
pub(super) fn size(place: &Placed<f64>, sheet: &mut Sheet) -> Option<f64> {
    if place.value <= 0.0 {
        sheet.at(place, "must be greater than 0", "give the size in mm");
        return None;
    }
    in_mm(place, sheet)
}

fn in_mm(place: &Placed<f64>, sheet: &mut Sheet) -> Option<f64> {
    if place.value < 0.0 {
        sheet.at(place, "cannot be negative", "give it in mm");
        return None;
    }
    if place.value > LONGEST_PART_MM {
        let longest = units::mm(LONGEST_PART_MM);
        let says = format!("no part in a mouth is longer than {longest}: most likely another unit is meant");
        sheet.at(place, says, "give it in mm; only scans and marks follow scans.unit");
        return None;
    }
    Some(place.value)
}

/// The attachment with its sizes, or the one whose sizes its mesh has to give.
fn attachment(
    raw: &Given<RawAttachment>,
    sheet: &mut Sheet,
) -> (Option<Attachment>, Option<AttachmentByMesh>) {
    let Some(place) = raw.get() else { return (None, None) };
    let a = &place.value;
    let mesh = a.mesh.get().map(|m| {
        if m.value.trim().is_empty() {
            sheet.at(m, "the file name is empty", "name the mesh file, relative to this case file");
        }
        AttachmentMesh { file: m.value.clone(), unit: a.mesh_unit.value().map(|w| w.0).unwrap_or_default() }
    });
    if let (Some(unit), None) = (a.mesh_unit.get(), &mesh) {
        sheet.at(unit, "a unit is given for a mesh, but no mesh", "add mesh = \"..\", or take it out");
    }
    let mut side = |member: &Given<f64>, key: &str| {
        let given = match &mesh {
            Some(_) => member.get(),
            None => required(
                member,
                place,
                key,
                "add it: the envelope of the attachment is judged as a box; or give its mesh",
                sheet,
            ),
        };
        given.and_then(|p| size(p, sheet))
    };
    let sizes_mm =
        [side(&a.height_mm, "height_mm"), side(&a.length_mm, "length_mm"), side(&a.width_mm, "width_mm")];
    let over = "add the height of the denture tooth over the attachment";
    let tooth = required(&a.tooth_mm, place, "tooth_mm", over, sheet).and_then(|p| size(p, sheet));
    let mut optional = |member: &Given<f64>| member.get().and_then(|p| in_mm(p, sheet)).unwrap_or(0.0);
    let (relief, resin, adjustment) =
        (optional(&a.relief_mm), optional(&a.resin_mm), optional(&a.adjustment_mm));
    let Some(tooth) = tooth else { return (None, None) };
    let by_mesh = mesh.is_some();
    let rest = AttachmentRest {
        mesh,
        axes: a.axes.value().map(|w| w.0).unwrap_or_default(),
        joint: a.joint.value().map(|w| w.0),
        axis_at_mm: a.axis_at_mm.value().copied(),
        parts_mm: [tooth, relief, resin, adjustment],
    };
    match sizes_mm {
        [Some(height), Some(length), Some(width)] => (Some(rest.sized([height, length, width])), None),
        _ if by_mesh => (None, Some(AttachmentByMesh { sizes_mm, rest })),
        _ => (None, None),
    }
}

/// A rigid motion from three rows; the rotation must be one to within what is written of it.
fn motion(place: &Placed<Vec<Placed<[f64; 4]>>>, sheet: &mut Sheet) -> Option<Motion> {
    let rows = &place.value;
    let mend = "give three rows [r, r, r, t]: an orthonormal rotation, then the way in mm";
    let [a, b, c] = rows.as_slice() else {
        sheet.at(place, format!("a motion has three rows, but {} are given", rows.len()), mend);
        return None;
    };
    let found = crate::space::motion_of_rows([a.value, b.value, c.value]);
    if found.is_none() {
        sheet.at(place, "its first three columns are no rotation", mend);
    }
    found
}

/// `[articulation]`; angles and distances of the joint go to the limits of the same name.
fn relation(raw: &Given<RawArticulation>, sheet: &mut Sheet) -> Relation {
    let Some(raw) = raw.value() else { return Relation::default() };
    Relation {
        as_scanned: raw.as_scanned.value().copied().unwrap_or(false),
        opposing_motion: raw.opposing_motion.get().and_then(|p| motion(p, sheet)),
        guidance_deg: raw.condylar_guidance_deg.value().and_then(BothSides::apart),
    }
}

/// Limits that `[articulation]` gives.
fn of_the_joint(raw: &Given<RawArticulation>, limits: &mut Vec<(String, f64)>, sheet: &mut Sheet) {
    let Some(raw) = raw.value() else { return };
    // Two guidances are two changes of one limit, so that both must lie where it may.
    let guidance = raw.condylar_guidance_deg.get().map(|place| {
        let both = place.value;
        place.with(both.apart().map_or_else(|| vec![both.right], |sides| sides.to_vec()))
    });
    let one = |given: &Given<f64>| given.get().map(|place| place.with(vec![place.value]));
    for (id, given) in [
        ("condylar_guidance_deg", guidance),
        ("bennett_deg", one(&raw.bennett_deg)),
        ("intercondylar_mm", one(&raw.intercondylar_mm)),
    ] {
        let Some(place) = given else { continue };
        if limits.iter().any(|(known, _)| known == id) {
            sheet.at(&place, format!("`{id}` is given here and in [limits]"), "keep one of the two");
        } else {
            limits.extend(place.value.iter().map(|number| (id.to_owned(), *number)));
        }
    }
}

fn probe(
    raw: &Given<RawProbe>,
    chart: Option<&Chart>,
    numbering: Numbering,
    sheet: &mut Sheet,
) -> BTreeMap<Tooth, f64> {
    let mut depths = BTreeMap::new();
    let Some(raw) = raw.value() else { return depths };
    if let (Some(Arch::Maxilla), Some(place)) = (numbering.restored, raw.lingual_depth_mm.get()) {
        sheet.at(
            place,
            "the depth to the floor of the mouth belongs to a mandible, but the restored arch is the maxilla",
            "take it out, or check restored_arch",
        );
        return depths;
    }
    for (tooth, depth) in numbering.by_tooth(&raw.lingual_depth_mm, sheet) {
        numbering.must_stand(&tooth, chart, "it has no gingival margin to probe from", sheet);
        if let Some(mm) = size(depth, sheet) {
            depths.insert(tooth.value, mm);
        }
    }
    depths
}

fn accuracy(raw: &Given<RawAccuracy>, sheet: &mut Sheet) -> Accuracy {
    let mut accuracy = Accuracy::default();
    let Some(raw) = raw.value() else { return accuracy };
    for (given, stated) in
        [(&raw.scan_mm, &mut accuracy.scan_mm), (&raw.articulation_mm, &mut accuracy.articulation_mm)]
    {
        let Some(place) = given.get() else { continue };
        if (0.0..=WORST_ACCURACY_MM).contains(&place.value) {
            *stated = place.value;
        } else {
            let says =
                format!("must be a standard uncertainty between 0 and {}", units::mm(WORST_ACCURACY_MM));
            sheet.at(place, says, "give it in mm; scanners reach 0.02 to 0.1 mm");
        }
    }
    accuracy
}

fn limits(raw: &Given<Named<f64>>, known: &[&str], sheet: &mut Sheet) -> Vec<(String, f64)> {
    let mut limits = Vec::new();
    for (id, number) in raw.value().map_or(&[][..], |named| &named.0) {
        if known.contains(&id.value.as_str()) {
            limits.push((id.value.clone(), number.value));
            continue;
        }
        let near = nearest(&id.value, known).map_or(String::new(), |n| format!("did you mean `{n}`? "));
        let says = format!("`{}` is no limit", id.value);
        sheet.at(id, says, format!("{near}The limits are: {}", known.join(", ")));
    }
    limits
}
