//! A designed framework against its case: the sheet as text.

use super::sheet::{self, Block, Table};
use super::text;
use super::words::Manner;
use crate::report::{FrameworkFile, PartShown};
use crate::units::{self, Unit, digits};

/// The sheet.
pub fn text(file: &FrameworkFile, manner: &Manner) -> String {
    text::blocks(&sheet::numbered(blocks(file), manner))
}

/// The sheet's blocks.
fn blocks(file: &FrameworkFile) -> Vec<Block> {
    let name = file.inputs.last().map_or("", |i| i.file.as_str());
    let mut all = vec![
        Block::Title(format!("Framework {name} against case {}", file.case.id)),
        Block::Paragraph(
            "Distances are to the cast as scanned, negative inside it. Thickness is that of the greatest ball that touches the \
             place within the metal."
                .into(),
        ),
    ];
    all.extend(measured(file));
    all.extend(sheet::findings(&file.findings));
    if !file.questions.is_empty() {
        all.push(Block::Heading("Questions to the dentist".into()));
        all.push(Block::List(file.questions.iter().map(|q| format!("{} {}", q.text, q.because)).collect()));
    }
    all.extend(sheet::inputs(&file.inputs));
    all.extend(sheet::cautions(&file.cautions));
    all
}

/// Parts, file, way in.
pub(super) fn measured(file: &FrameworkFile) -> Vec<Block> {
    let mut all = Vec::new();
    if !file.parts.is_empty() {
        all.push(Block::Table(parts(&file.parts)));
    }
    if let Some(f) = &file.file {
        let volume =
            f.volume_mm3.map_or("no volume, the surface is open".into(), |v| units::show(v, Unit::Mm3));
        let mass = f.mass_g.map_or(String::new(), |m| format!(", {} g in {}", digits(m, 1), f.alloy));
        all.push(Block::Paragraph(format!(
            "{} triangles in {}; {volume}{mass}. Sharp inner edges, such as finish lines have: {}, of these {} blunter than a \
             right angle.",
            file.triangles,
            if f.bodies == 1 { "one piece".to_owned() } else { format!("{} pieces", f.bodies) },
            units::mm(f.sharp_inner_edges_mm),
            units::mm(f.blunt_inner_edges_mm)
        )));
    }
    if let Some(s) = &file.seating {
        let free = |axis: [f64; 2]| format!("{} and {}", units::deg(axis[0]), units::deg(axis[1]));
        all.push(Block::Paragraph(format!(
            "A millimetre over the seat it turns freely by {} about the line from right to left, by {} about that from behind to the \
             front, by {} about the path (10 degrees are the most that is tried). Of {} directions within 15 degrees, {} let it in.",
            free(s.play_deg[0]),
            free(s.play_deg[1]),
            free(s.play_deg[2]),
            s.tried,
            s.free
        )));
    }
    all
}

fn parts(parts: &[PartShown]) -> Table {
    let mut table = Table::new(
        "Parts, told by what the case asks for and by shape",
        &[
            "part",
            "teeth",
            "gap",
            "thickness",
            "height or width",
            "length",
            "tip",
            "to the opposing arch",
            "in excursions",
        ],
    );
    let mm = |v: Option<f64>| sheet::or_dash(v, Unit::Mm);
    for p in parts {
        let teeth: Vec<String> = p.teeth.iter().map(ToString::to_string).collect();
        let place = p.place.map(|x| x.word()).or(p.surface.map(|x| x.word())).unwrap_or("");
        let tip = p
            .tip_depth_mm
            .map_or("-".to_owned(), |d| format!("{} deep, {} thick", units::mm(d), mm(p.tip_thickness_mm)));
        table.rows.push(vec![
            p.kind.words().into(),
            format!("{} {place}", teeth.join(", ")).trim().to_owned(),
            mm(p.gap_mm),
            mm(p.thickness_mm),
            mm(p.height_mm),
            mm(p.length_mm),
            tip,
            mm(p.opposing_mm),
            mm(p.opposing_moving_mm),
        ]);
    }
    table
}
