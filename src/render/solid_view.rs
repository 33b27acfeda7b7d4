//! The cast in space, for the page: data for the script that draws it (`Mesh3D` of plotly, whose script the crate carries),
//! a way to choose colours and layers, and views from named sides. Arrays are base64, little endian, relative to the middle
//! of the restored arch. What is drawn is a lighter mesh; what is read at its vertices is the scan's own.

use serde_json::{Map, Value, json};

use super::base64::base64;
use super::colour::{self, Rgb, Scale, cividis};
use super::display_mesh::{DisplayMesh, display};
use super::html::escaped;
use super::ply::region_colour;
use super::words::Manner;
use crate::mesh::Mesh;
use crate::report::{CurveKind, Scene, SolidKind, SpotKind};
use crate::space::{Frame, Point, Vector};

/// Most triangles of the restored arch, of the opposing one, and of each solid: the page has to stay below 8 MB.
const MOST: [usize; 3] = [32_000, 16_000, 2_000];
/// How far lines are lifted off the surface so that it does not hide them, mm.
const LIFT_MM: f64 = 0.12;
const SCRIPT: &str = include_str!("solid_view.js");
/// Letters of the scales are read back from a drawing; said beforehand, browsers do not warn of it.
const READ_BACK: &str = "(function () { const own = HTMLCanvasElement.prototype.getContext; \
HTMLCanvasElement.prototype.getContext = function (kind, more) { \
return own.call(this, kind, kind === '2d' ? Object.assign({ willReadFrequently: true }, more) : more); }; })();";

/// Heading, controls, place and data of the view; empty where the cast has no frame to look at it by.
pub fn section(scene: &Scene<'_>, manner: &Manner) -> String {
    let Some(frame) = &scene.frame else { return String::new() };
    let w = |key: &str| escaped(manner.word(key));
    let data = data(scene, frame, manner);
    let paints: String = [("undercut", true), ("nearest", scene.opposing.is_some()), ("regions", true)]
        .iter()
        .filter(|p| p.1)
        .enumerate()
        .map(|(n, (key, _))| {
            let checked = if n == 0 { " checked" } else { "" };
            format!(
                "<label><input type=\"radio\" name=\"paint\" value=\"{key}\"{checked}> {}</label>\n",
                w(&format!("space.paint.{key}"))
            )
        })
        .collect();
    let layers: String = layers(scene)
        .iter()
        .map(|(key, on)| {
            let checked = if *on { " checked" } else { "" };
            format!(
                "<label><input type=\"checkbox\" name=\"layer\" value=\"{key}\"{checked}> {}</label>\n",
                w(&format!("layer.{key}"))
            )
        })
        .collect();
    let views: String = VIEWS
        .iter()
        .map(|key| {
            format!("<button type=\"button\" data-view=\"{key}\">{}</button>\n", w(&format!("view.{key}")))
        })
        .collect();
    format!(
        "<section id=\"space\">\n<h2>{}</h2>\n<p class=\"detail\">{}</p>\n<p class=\"flat-only\">{}</p>\n\
         <div class=\"space-frame\">\n<div class=\"choices\">\n<fieldset><legend>{}</legend>\n{paints}</fieldset>\n\
         <fieldset><legend>{}</legend>\n{layers}</fieldset>\n<fieldset><legend>{}</legend>\n{views}</fieldset>\n</div>\n\
         <div id=\"space-view\" role=\"img\" aria-label=\"{}\">{}</div>\n</div>\n\
         <script type=\"application/json\" id=\"space-data\">{data}</script>\n</section>\n",
        w("space.title"),
        w("space.how"),
        w("space.flat"),
        w("space.paint"),
        w("space.layers"),
        w("space.views"),
        w("space.alt"),
        w("space.loading"),
    )
}

/// The scripts that draw it, to stand at the end of the page.
pub fn scripts() -> String {
    format!("<script>{READ_BACK}</script>\n<script>{}</script>\n<script>{SCRIPT}</script>\n", plotly_script())
}

/// The drawing script alone out of what the crate carries, which holds a typesetter of formulas besides.
fn plotly_script() -> String {
    let all = plotly::Plot::offline_js_sources();
    let inner = all
        .split("<script")
        .filter_map(|part| part.split_once('>'))
        .map(|(_, rest)| rest.split("</script").next().unwrap_or(""))
        .find(|script| script.get(..200.min(script.len())).is_some_and(|head| head.contains("plotly.js v")));
    // Its map services are not used here; their addresses are taken out, so that nothing in the page leads outside.
    let mut script = inner.unwrap_or("").to_owned();
    for quote in ["\"", "'", "`"] {
        script = script.replace(&format!("{quote}https://"), &format!("{quote}about:blank#"));
    }
    script
}

/// Layers that the case has, and whether they are shown at first.
fn layers(scene: &Scene<'_>) -> Vec<(&'static str, bool)> {
    let mut all = Vec::new();
    for kind in CurveKind::ALL {
        if scene.curves_of(kind).next().is_some() {
            all.push((kind.id(), kind != CurveKind::Margin));
        }
    }
    for kind in SpotKind::ALL {
        if scene.spots_of(kind).next().is_some() {
            all.push((kind.id(), kind == SpotKind::Gauge));
        }
    }
    for kind in SolidKind::ALL {
        if scene.solids.iter().any(|s| s.kind == kind) {
            all.push((kind.id(), kind == SolidKind::Attachment));
        }
    }
    if scene.opposing.is_some() {
        all.push(("opposing_arch", false));
    }
    all
}

const VIEWS: [&str; 5] = ["front", "occlusal", "left", "right", "behind"];

fn data(scene: &Scene<'_>, frame: &Frame, manner: &Manner) -> String {
    let middle = scene.restored.middle();
    let (cast, solids) =
        rayon::join(|| cast(scene, &display(scene.restored, MOST[0]), middle), || solids(scene, middle));
    let up = scene.withdrawal.unwrap_or(frame.occlusal);
    let teeth: Map<String, Value> =
        scene.teeth.iter().map(|(fdi, _)| (fdi.clone(), Value::from(manner.tooth_of(fdi)))).collect();
    let value = json!({
        "cast": cast,
        "origin": array(&(frame.origin - middle)),
        "up": array(&up),
        "teeth": teeth,
        "cividis": (0..=16).map(|n| css(cividis(f64::from(n) / 16.0))).collect::<Vec<_>>(),
        "plain": css(colour::PLAIN),
        "grey": css(colour::NOT_MEASURED),
        "ink": "#1e1e22",
        "undercutScale": { "least": Scale::UNDERCUT.least, "most": Scale::UNDERCUT.most },
        "distanceScale": { "least": Scale::DISTANCE.least, "most": Scale::DISTANCE.most },
        "regionColours": (0..=6).map(|r| [css(region_colour(r, 0)), css(region_colour(r, 1))]).collect::<Vec<_>>(),
        "views": views(frame),
        "words": words(manner),
        "solids": solids,
        "lines": lines(scene, middle),
        "spots": spots(scene, middle),
    });
    // Inside a script element only `<` could end it.
    value.to_string().replace('<', "\\u003c")
}

fn array(v: &Vector) -> [f64; 3] {
    [v.x, v.y, v.z].map(crate::units::json)
}

fn css([r, g, b]: Rgb) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn floats(values: impl Iterator<Item = f32>) -> String {
    base64(&values.flat_map(f32::to_le_bytes).collect::<Vec<u8>>())
}

fn places<'p>(all: impl Iterator<Item = &'p Point>, middle: Point) -> String {
    floats(all.map(|p| p - middle).flat_map(|v| [v.x as f32, v.y as f32, v.z as f32]))
}

/// Corners in two bytes each: a lighter mesh of so few triangles has fewer vertices than those can count.
fn corners(faces: &[[u32; 3]]) -> String {
    base64(&faces.iter().flatten().flat_map(|&v| (v as u16).to_le_bytes()).collect::<Vec<u8>>())
}

fn cast(scene: &Scene<'_>, light: &DisplayMesh, middle: Point) -> Value {
    // Beside the figures stands, for each vertex, which of them are known: 1 undercut, 2 distance.
    let of = |values: &[Option<f64>], v: u32| values.get(v as usize).copied().flatten();
    let kept = |values: &[Option<f64>]| {
        floats(light.kept.iter().map(|&v| of(values, v).map_or(0.0, |mm| mm as f32)))
    };
    let known: Vec<u8> = light
        .kept
        .iter()
        .map(|&v| {
            u8::from(of(&scene.undercut_mm, v).is_some()) + 2 * u8::from(of(&scene.nearest_mm, v).is_some())
        })
        .collect();
    let bytes = |values: &[u8]| {
        let all: Vec<u8> = light.kept.iter().map(|&v| values.get(v as usize).copied().unwrap_or(0)).collect();
        base64(&all)
    };
    let kept_places: Vec<Point> = light.kept.iter().map(|&v| scene.restored.vertex(v)).collect();
    json!({
        "places": places(kept_places.iter(), middle),
        "faces": corners(&light.faces),
        "undercut": kept(&scene.undercut_mm),
        "nearest": kept(&scene.nearest_mm),
        "known": base64(&known),
        "tooth": bytes(scene.tooth_of),
        "region": bytes(&scene.region),
    })
}

fn views(frame: &Frame) -> Value {
    let (up, front, left) =
        (frame.occlusal.into_inner(), frame.anterior.into_inner(), frame.left.into_inner());
    let place = |v: Vector| json!({ "x": v.x, "y": v.y, "z": v.z });
    let view =
        |eye: Vector, above: Vector| json!({ "eye": place(eye.normalize() * 0.95), "up": place(above) });
    json!({
        "front": view(front + up * 0.9, up),
        "occlusal": view(up + front * 1e-3, front),
        "left": view(left + up * 0.5, up),
        "right": view(up * 0.5 - left, up),
        "behind": view(up * 0.9 - front, up),
    })
}

fn words(manner: &Manner) -> Value {
    let w = |key: &str| manner.word(key).to_owned();
    let mut layers: Map<String, Value> = CurveKind::ALL
        .iter()
        .map(|k| k.id())
        .chain(SpotKind::ALL.iter().map(|k| k.id()))
        .chain(SolidKind::ALL.iter().map(|k| k.id()))
        .map(|id| (id.to_owned(), Value::from(w(&format!("layer.{id}")))))
        .collect();
    layers.insert("opposing_arch".into(), w("layer.opposing_arch").into());
    let regions: Vec<String> = (0..=6).map(|r| w(&format!("region.{r}"))).collect();
    json!({
        "decimal": manner.decimal(),
        "tooth": w("hover.tooth"),
        "undercut": w("hover.undercut"),
        "free": w("hover.free"),
        "unmeasured": w("hover.unmeasured"),
        "height": w("hover.height"),
        "nearest": w("hover.nearest"),
        "undercutBar": w("hover.undercut_bar"),
        "nearestBar": w("hover.nearest_bar"),
        "regions": regions,
        "layers": layers,
    })
}

fn solids(scene: &Scene<'_>, middle: Point) -> Vec<Value> {
    let solid =
        |key: &str, mesh: &Mesh, faces: &[[u32; 3]], kept: Option<&[u32]>, paint: Rgb, opacity: f64| {
            let all: Vec<Point> = match kept {
                Some(kept) => kept.iter().map(|&v| mesh.vertex(v)).collect(),
                None => mesh.vertices().to_vec(),
            };
            json!({
                "key": key,
                "places": places(all.iter(), middle),
                "faces": corners(faces),
                "colour": css(paint),
                "opacity": opacity,
            "flat": key != "opposing_arch",
            })
        };
    let mut all: Vec<Value> = scene
        .solids
        .iter()
        .map(|s| {
            let light = display(&s.mesh, MOST[2]);
            let (share, opacity) = match s.kind {
                SolidKind::Attachment => (0.9, 0.6),
                SolidKind::KeepOut => (0.1, 0.9),
                SolidKind::Blockout => (0.6, 0.8),
            };
            solid(s.kind.id(), &s.mesh, &light.faces, Some(&light.kept), cividis(share), opacity)
        })
        .collect();
    if let Some(other) = scene.opposing {
        let light = display(other, MOST[1]);
        all.push(solid("opposing_arch", other, &light.faces, Some(&light.kept), [214, 206, 190], 1.0));
    }
    all
}

fn lines(scene: &Scene<'_>, middle: Point) -> Vec<Value> {
    let mut all = Vec::new();
    for kind in CurveKind::ALL {
        let curves: Vec<_> = scene.curves_of(kind).collect();
        let lifted: Vec<Point> = curves
            .iter()
            .flat_map(|c| c.places.iter().zip(&c.outward).map(|(p, n)| p + n * LIFT_MM))
            .collect();
        if lifted.is_empty() {
            continue;
        }
        let runs: Vec<usize> = curves.iter().map(|c| c.places.len().min(c.outward.len())).collect();
        let (paint, width, dash) = match kind {
            CurveKind::SurveyLine => ("#1e1e22", 5, "solid"),
            CurveKind::Margin => ("#6b665c", 3, "solid"),
            CurveKind::Crest => ("#ffffff", 6, "solid"),
            CurveKind::Torus => ("#00224e", 5, "solid"),
            CurveKind::KeepOut => ("#00224e", 5, "dash"),
            CurveKind::ConnectorBorder => ("#7c6a2e", 4, "dash"),
        };
        all.push(json!({
            "key": kind.id(), "places": places(lifted.iter(), middle), "runs": runs, "colour": paint, "width": width, "dash": dash,
        }));
    }
    all
}

fn spots(scene: &Scene<'_>, middle: Point) -> Vec<Value> {
    let mut all = Vec::new();
    for kind in SpotKind::ALL {
        let of: Vec<_> = scene.spots_of(kind).collect();
        if of.is_empty() {
            continue;
        }
        let (symbol, size, paint) = match kind {
            SpotKind::Gauge => ("circle", 5, "#1e1e22"),
            SpotKind::Tripod => ("cross", 6, "#1e1e22"),
            SpotKind::Summit => ("diamond", 6, "#00224e"),
        };
        all.push(json!({
            "key": kind.id(),
            "places": places(of.iter().map(|s| &s.at), middle),
            "says": of.iter().map(|s| escaped(&s.says)).collect::<Vec<_>>(),
            "symbol": symbol, "size": size, "colour": paint,
        }));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_script_is_there_alone_and_leads_nowhere() {
        let script = plotly_script();
        assert!(script.len() > 3_000_000 && script.len() < 5_000_000, "{}", script.len());
        assert!(script.contains("plotly.js v") && script.contains("mesh3d") && !script.contains("</script"));
        assert!(!script.contains("\"https://"));
    }
}
