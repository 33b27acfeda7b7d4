//! Pictures of a framework on its cast, with what each shows in words.

use rayon::prelude::*;

use crate::analysis::FrameworkChecked;
use crate::case::{Arch, Notation, Tooth};
use crate::mesh::Mesh;
use crate::render::colour::{self, Rgb, Scale};
use crate::render::html::Picture;
use crate::render::picture::{self, Label, Still, View};
use crate::report::{Finding, Verdict};
use crate::space::{Point, Vector, direction};

/// Stills, PNG, teeth named in a notation; none where the frame of the cast is not known or the framework has no place on it.
pub(super) fn stills(done: &FrameworkChecked, notation: Notation) -> Vec<Picture> {
    let cast = &done.cast;
    let Some(frame) = cast.frame else { return Vec::new() };
    if done.distance_mm.iter().all(Option::is_none) {
        return Vec::new();
    }
    let (up, front) = (frame.occlusal.into_inner(), frame.anterior.into_inner());
    let inner = if done.file.case.restored_arch == Arch::Maxilla { "palate" } else { "tongue" };
    let spots: Vec<Point> = done.file.findings.iter().filter_map(attended).collect();
    let marked = if spots.is_empty() { "" } else { "; dots mark what wants attention" };
    let thickness = || done.thickness_mm.iter().map(|t| painted(*t, Scale::THICKNESS)).collect::<Vec<_>>();
    let gap = || done.distance_mm.iter().map(|d| painted(*d, Scale::GAP)).collect::<Vec<_>>();
    let wanted = [
        Wanted {
            name: "framework-occlusal.png",
            says: format!(
                "The framework on the cast, from above the teeth (occlusal): thickness of the metal{marked}"
            ),
            eye: up,
            above: front,
            colours: thickness(),
            scale: Scale::THICKNESS,
            with_cast: true,
        },
        Wanted {
            name: "framework-behind.png",
            says: format!(
                "The same from behind and above, the side of the {inner}: thickness of the metal{marked}"
            ),
            eye: up * 0.8 - front,
            above: up,
            colours: thickness(),
            scale: Scale::THICKNESS,
            with_cast: true,
        },
        Wanted {
            name: "framework-tissue-side.png",
            says: format!(
                "The framework alone, from the side of the tissue: gap to the cast, dark where it touches or goes in{marked}"
            ),
            eye: -up,
            above: front,
            colours: gap(),
            scale: Scale::GAP,
            with_cast: false,
        },
    ];
    wanted.into_par_iter().filter_map(|w| drawn(done, w, &spots, notation)).collect()
}

/// A still that is to be drawn.
struct Wanted {
    name: &'static str,
    says: String,
    eye: Vector,
    above: Vector,
    colours: Vec<Rgb>,
    scale: Scale,
    with_cast: bool,
}

fn painted(mm: Option<f64>, scale: Scale) -> Rgb {
    mm.map_or(colour::NOT_MEASURED, |mm| scale.colour(mm))
}

/// The place of a finding that wants attention.
fn attended(f: &Finding) -> Option<Point> {
    let wants = matches!(f.verdict, Verdict::Short | Verdict::Exceeds | Verdict::Tight);
    f.place.at_mm.filter(|_| wants).map(Point::from)
}

/// The names of teeth at their crowns.
fn labels(teeth: &[(Tooth, Point)], notation: Notation) -> Vec<Label> {
    teeth.iter().map(|(t, at)| Label { at: *at, text: t.show(notation) }).collect()
}

fn drawn(done: &FrameworkChecked, w: Wanted, spots: &[Point], notation: Notation) -> Option<Picture> {
    let cast = &done.cast;
    let mut colours = w.colours;
    let (mesh, labels) = if w.with_cast {
        colours.extend(std::iter::repeat_n(colour::PLAIN, cast.mesh.vertices().len()));
        (Mesh::together([&done.mesh, &cast.mesh]), labels(&cast.teeth, notation))
    } else {
        (done.mesh.clone(), Vec::new())
    };
    let still = Still {
        mesh: &mesh,
        colours: &colours,
        view: View { eye: direction(w.eye)?, up: w.above },
        lines: &[],
        spots,
        labels: &labels,
        scale: Some(w.scale),
    };
    Some(Picture { name: w.name.to_owned(), caption: w.says, bytes: picture::png(&still)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn teeth_in_the_pictures_are_named_as_asked_for() {
        let teeth = [36, 44].map(|n| (Tooth::fdi(n).unwrap(), Point::origin()));
        let named = |notation| labels(&teeth, notation).into_iter().map(|l| l.text).collect::<Vec<_>>();
        assert_eq!(named(Notation::Fdi), ["36", "44"]);
        assert_eq!(named(Notation::Universal), ["19", "28"]);
        assert_eq!(named(Notation::Palmer), ["LL6", "LR4"]);
    }
}
