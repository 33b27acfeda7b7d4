//! Where a cast is looked at: crowns above their margins, surfaces beside spans, tissue that a rigid part crosses.

use super::{Asked, Held};
use crate::anatomy::{Crown, KnownFrame, Region, Span};
use crate::case::{Arch, SpanKind, Surface, Tooth};
use crate::measure::gauges;
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::{Mesh, VertexId};
use crate::space::{Point, Vector};

/// Part of a surface's width, either way from its middle, in which a clasp's tip may lie: the slits beside neighbours
/// are left out.
const WIDTH: f64 = 0.8;
/// A triangle belongs to the surface beside a span where its normal turns from that side by less than 45 degrees.
const FACING: f64 = 0.7;
/// How far lingual of a crown its tissue is looked at, mm, and how far beside it.
const LINGUAL_MM: f64 = 8.0;
const BESIDE_MM: f64 = 1.0;

/// What a vertex is to the search, as the reduction keeps it apart; crowns by their number in the list on top.
const ELSEWHERE: u8 = 0;
const TISSUE: u8 = 1;
const GUM: u8 = 2;
const CROWNS: u8 = 3;
/// Longest edges of the reduced cast by kind, mm: elsewhere, tissue crossed, other gum, crowns.
pub(super) const LONGEST_MM: [f64; 36] = {
    let mut all = [1.0; 36];
    all[ELSEWHERE as usize] = 1e9;
    all[TISSUE as usize] = 1.2;
    all[GUM as usize] = 3.0;
    all
};

/// A cast, whole or reduced.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cast<'a> {
    pub mesh: &'a Mesh,
    /// The vertex of the scan that each vertex is; `None` for the scan itself.
    pub from: Option<&'a [VertexId]>,
}

impl<'a> Cast<'a> {
    pub fn whole(mesh: &'a Mesh) -> Cast<'a> {
        Cast { mesh, from: None }
    }

    fn scan_vertex(&self, v: VertexId) -> VertexId {
        self.from.and_then(|list| list.get(v as usize).copied()).unwrap_or(v)
    }
}

/// A triangle of some area. Corners are numbers in the list of wanted vertices.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub corners: [u32; 3],
    pub area_mm2: f64,
    /// Normal times area.
    pub normal_mm2: Vector,
}

/// A place where a clasp's tip may lie: number in the list of wanted vertices, and the way up from the margin, mm.
pub(super) type TipPlace = (u32, Vector);

/// A clasp's surfaces.
#[derive(Clone, Debug)]
pub(super) struct HeldPlaces {
    pub held: Held,
    pub tips: Vec<TipPlace>,
    /// Edges between such places, by their numbers in `tips`.
    pub edges: Vec<[u32; 2]>,
}

/// A surface beside a span: normals (the triangle's own and the mean of its corners') and areas, mm2.
#[derive(Clone, Debug)]
pub(super) struct Guiding {
    pub tooth: Tooth,
    pub surface: Surface,
    pub faces: Vec<([Vector; 2], f64)>,
    pub wanted_mm2: f64,
}

/// All places of a cast.
#[derive(Clone, Debug, Default)]
pub(super) struct Places {
    /// Vertices of the cast of which depths are wanted, each once.
    pub wanted: Vec<VertexId>,
    pub held: Vec<HeldPlaces>,
    pub left_out: Vec<Tooth>,
    pub guiding: Vec<Guiding>,
    pub tissue: Vec<Piece>,
    pub proximal: Vec<Piece>,
}

impl Places {
    pub fn new(asked: &Asked<'_>, known: &KnownFrame, cast: &Cast<'_>) -> Places {
        let mut places = Places::default();
        let normals = asked.mesh.vertex_normals();
        let mut numbered = Numbered { wanted: vec![None; cast.mesh.vertices().len()], list: Vec::new() };
        for held in asked.held {
            match held_places(asked, known, cast, held, &mut numbered) {
                Some(found) => places.held.push(found),
                None => places.left_out.push(held.tooth),
            }
        }
        places.left_out.dedup();
        for (span, tooth) in asked.anatomy.spans.iter().flat_map(|s| [s.front, s.back].map(|t| (s, t))) {
            let Some((crown, axes, surface)) = beside(asked, span, tooth) else { continue };
            places.guiding.push(guiding(asked, span, crown, normals, &axes, surface));
            let own = |p: &Point, v: VertexId| {
                crown.vertices.binary_search(&cast.scan_vertex(v)).is_ok() && axes.surface(p) == surface
            };
            places.proximal.extend(pieces(cast, own, &mut numbered));
        }
        let crossed = crossed(asked, known);
        let own = |_: &Point, v: VertexId| crossed.get(cast.scan_vertex(v) as usize) == Some(&true);
        places.tissue = pieces(cast, own, &mut numbered);
        places.wanted = numbered.list;
        places
    }

    /// Whether nothing is known that a tilt could change.
    pub fn nothing(&self) -> bool {
        self.held.is_empty() && self.guiding.is_empty() && self.tissue.is_empty()
    }
}

struct Numbered {
    wanted: Vec<Option<u32>>,
    list: Vec<VertexId>,
}

impl Numbered {
    fn of(&mut self, v: VertexId) -> u32 {
        let next = self.list.len() as u32;
        match self.wanted.get_mut(v as usize) {
            Some(Some(known)) => *known,
            Some(slot) => {
                *slot = Some(next);
                self.list.push(v);
                next
            }
            None => next,
        }
    }
}

/// The triangles all of whose corners are wanted.
fn pieces(cast: &Cast<'_>, own: impl Fn(&Point, VertexId) -> bool, numbered: &mut Numbered) -> Vec<Piece> {
    let inside: Vec<bool> = cast.mesh.vertices().iter().enumerate().map(|(v, p)| own(p, v as u32)).collect();
    let faces = cast.mesh.faces().iter().enumerate();
    faces
        .filter(|(_, corners)| corners.iter().all(|&v| inside[v as usize]))
        .map(|(f, corners)| {
            let normal_mm2 = cast.mesh.doubled_area_normal(f as u32) / 2.0;
            let corners = corners.map(|v| numbered.of(v));
            Piece { corners, area_mm2: normal_mm2.norm(), normal_mm2 }
        })
        .collect()
}

fn held_places(
    asked: &Asked<'_>,
    known: &KnownFrame,
    cast: &Cast<'_>,
    held: &Held,
    numbered: &mut Numbered,
) -> Option<HeldPlaces> {
    let crown = asked.anatomy.crown(held.tooth).filter(|c| !c.margin.is_empty())?;
    let axes = ToothAxes::of(asked.mesh, crown, asked.anatomy).ok()?;
    let up = known.frame.occlusal;
    let mut tips: Vec<TipPlace> = Vec::new();
    let mut tip_of = std::collections::BTreeMap::new();
    for (v, p) in cast.mesh.vertices().iter().enumerate() {
        let v = v as u32;
        if crown.vertices.binary_search(&cast.scan_vertex(v)).is_err() {
            continue;
        }
        let in_width = axes.local(p)[0].abs() <= WIDTH * axes.half_mm[0];
        if !held.surfaces.contains(&axes.surface(p)) || !in_width {
            continue;
        }
        if let Some(above) = gauges::above_margin_mm(crown, &axes, &up, p) {
            tip_of.insert(v, tips.len() as u32);
            tips.push((numbered.of(v), foot(crown, &axes, p, up.into_inner() * above)));
        }
    }
    let mut edges: Vec<[u32; 2]> = cast
        .mesh
        .faces()
        .iter()
        .flat_map(|t| (0..3).map(|k| [t[k], t[(k + 1) % 3]]))
        .filter_map(|[a, b]| {
            let (a, b) = (*tip_of.get(&a)?, *tip_of.get(&b)?);
            Some([a.min(b), a.max(b)])
        })
        .collect();
    edges.sort_unstable();
    edges.dedup();
    (!tips.is_empty()).then(|| HeldPlaces { held: held.clone(), tips, edges })
}

/// The way from the margin below a place up to it: to the margin's place of that height on the same side.
fn foot(crown: &Crown, axes: &ToothAxes, p: &Point, above: Vector) -> Vector {
    let [m, b, _] = axes.local(p);
    // Of the margin's places toward the same side, the one nearest in plan to the ray from the crown's middle.
    let mut best: Option<(f64, &Point)> = None;
    for q in &crown.margin {
        let [mq, bq, _] = axes.local(q);
        if mq * m + bq * b <= 0.0 {
            continue;
        }
        let off = (m * bq - b * mq).abs() / crate::space::hypot(m, b).max(1e-9);
        if best.is_none_or(|(least, _)| off < least) {
            best = Some((off, q));
        }
    }
    match best {
        Some((_, q)) => {
            let aside = (p - q) - axes.occlusal.into_inner() * (p - q).dot(&axes.occlusal);
            aside + above
        }
        None => above,
    }
}

/// The crown, its axes and the surface that faces a span.
fn beside<'a>(
    asked: &Asked<'a>,
    span: &Span,
    tooth: Option<Tooth>,
) -> Option<(&'a Crown, ToothAxes, Surface)> {
    let tooth = tooth?;
    let crown = asked.anatomy.crown(tooth)?;
    let axes = ToothAxes::of(asked.mesh, crown, asked.anatomy).ok()?;
    let beyond = span.teeth.first()?;
    let distal = beyond.side() == tooth.side() && beyond.place() > tooth.place();
    Some((crown, axes, if distal { Surface::Distal } else { Surface::Mesial }))
}

fn guiding(
    asked: &Asked<'_>,
    span: &Span,
    crown: &Crown,
    normals: &[Vector],
    axes: &ToothAxes,
    surface: Surface,
) -> Guiding {
    let outward = axes.outward(surface);
    let faces = crown
        .faces
        .iter()
        .filter(|&&f| (asked.mesh.face_centre(f) - axes.centre).dot(&outward) > 0.0)
        .filter_map(|&f| {
            let own = asked.mesh.face_normal(f).filter(|n| n.dot(&outward).abs() >= FACING)?;
            let sum: Vector =
                asked.mesh.faces()[f as usize].iter().filter_map(|&v| normals.get(v as usize)).sum();
            let mean = sum.try_normalize(1e-9).unwrap_or(own);
            Some(([own, mean], asked.mesh.face_area_mm2(f)))
        })
        .collect();
    let height = match span.kind {
        SpanKind::DistalExtension => asked.limits.guiding_height_mm[0],
        SpanKind::Bounded => asked.limits.guiding_height_mm[1],
    };
    let wanted_mm2 = height * 2.0 * axes.half_mm[1] / 3.0;
    Guiding { tooth: crown.tooth, surface, faces, wanted_mm2 }
}

/// Whether a rigid part crosses each vertex of the scan.
fn crossed(asked: &Asked<'_>, known: &KnownFrame) -> Vec<bool> {
    let region = &asked.anatomy.region;
    let mut crossed: Vec<bool> = region.iter().map(|r| *r == Region::ResidualRidge).collect();
    let joined = joined(asked);
    let soft = |v: usize| matches!(region[v], Region::Gingiva | Region::Other | Region::Torus);
    if asked.arch == Arch::Maxilla {
        let margins: Vec<&Point> = asked.anatomy.crowns.iter().flat_map(|c| &c.margin).collect();
        let border2 = asked.limits.palatal_border_mm * asked.limits.palatal_border_mm;
        for (v, p) in
            asked.mesh.vertices().iter().enumerate().filter(|(v, _)| region.get(*v) == Some(&Region::Palate))
        {
            crossed[v] = margins.iter().all(|q| (p - *q).norm_squared() >= border2);
        }
        return crossed;
    }
    for crown in joined {
        let Ok(axes) = ToothAxes::of(asked.mesh, crown, asked.anatomy) else { continue };
        let lingual: Vec<f64> = crown
            .margin
            .iter()
            .filter(|p| axes.surface(p) == Surface::Lingual)
            .map(|p| known.frame.local(p)[2])
            .collect();
        if lingual.is_empty() {
            continue;
        }
        let margin = lingual.iter().sum::<f64>() / lingual.len() as f64;
        for (v, p) in asked.mesh.vertices().iter().enumerate().take(region.len()) {
            let [m, b, _] = axes.local(p);
            if b >= 0.0 || -b > axes.half_mm[1] + LINGUAL_MM || m.abs() > axes.half_mm[0] + BESIDE_MM {
                continue;
            }
            let below = margin - known.frame.local(p)[2];
            if below >= asked.limits.band_mm[0] && below <= asked.limits.band_mm[1] && soft(v) {
                crossed[v] = true;
            }
        }
    }
    crossed
}

/// Crowns that a connector passes: between the outermost of clasps and spans.
fn joined<'a>(asked: &Asked<'a>) -> Vec<&'a Crown> {
    let spans = &asked.anatomy.spans;
    let ends = || {
        let named = asked.held.iter().map(|h| h.tooth);
        named.chain(spans.iter().flat_map(|s| [s.front, s.back]).flatten()).map(|t| t.along())
    };
    let (Some(from), Some(to)) = (ends().min(), ends().max()) else { return Vec::new() };
    asked.anatomy.crowns.iter().filter(|c| (from..=to).contains(&c.tooth.along())).collect()
}

/// The kind of each vertex of the scan, for the reduction.
pub(super) fn kinds(asked: &Asked<'_>, on_scan: &Places) -> Vec<u8> {
    let mut kind: Vec<u8> = asked
        .anatomy
        .region
        .iter()
        .map(|r| match r {
            Region::Gingiva | Region::ResidualRidge | Region::Palate => GUM,
            _ => ELSEWHERE,
        })
        .collect();
    kind.resize(asked.mesh.vertices().len(), ELSEWHERE);
    for v in on_scan.tissue.iter().flat_map(|p| p.corners) {
        if let Some(&v) = on_scan.wanted.get(v as usize) {
            kind[v as usize] = TISSUE;
        }
    }
    for (i, crown) in asked.anatomy.crowns.iter().enumerate() {
        let own = CROWNS.saturating_add(i as u8);
        crown.vertices.iter().filter(|v| (**v as usize) < asked.mesh.vertices().len()).for_each(|&v| {
            kind[v as usize] = own;
        });
    }
    kind
}
