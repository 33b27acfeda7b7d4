//! `audit`: what is wrong with a mesh file, and what was done about it.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::values::UnitWord;
use super::{Common, Ending, Failure, input, output};
use crate::analysis;
use crate::mesh::{Topology, audit};
use crate::render;
use crate::report::{Input, Tool};
use crate::units::LengthUnit;

/// Tell what is wrong with mesh files, and what was done about it
///
/// Reads each file (STL, PLY or OBJ, told by content), and lists its defects with count and place: holes, debris, edges
/// that are no manifold, inward facing, an unlikely unit, an inner wall, and more. Only what cannot change a figure is
/// mended.
///
/// Example: saddleroom audit lower.stl upper.stl
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// Mesh files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Unit of the coordinates
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
}

/// What `audit --format json` prints.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(super) struct AuditFile {
    /// `saddleroom/audit/1`.
    schema: String,
    /// The program.
    tool: Tool,
    /// The files, in the order given.
    inputs: Vec<Input>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let unit = LengthUnit::from(args.unit);
    let (mut inputs, mut failures) = (Vec::new(), Vec::new());
    for path in &args.files {
        match input::scan_of_any_size(path, &path.display().to_string(), unit) {
            Ok(scan) => {
                let mesh = &scan.import.mesh;
                let mut defects = scan.import.defects.clone();
                defects.extend(audit::audit_in(mesh, &Topology::new(mesh), unit));
                inputs.push(analysis::input("cast", &scan, &defects));
            }
            Err(failure) => failures.push(failure),
        }
    }
    if !inputs.is_empty() && (failures.is_empty() || common.format == super::Format::Text) {
        let file = AuditFile { schema: "saddleroom/audit/1".into(), tool: Tool::this(), inputs };
        output::show(common, || render::text::inputs(&file.inputs), &render::json::bytes(&file))?;
    }
    if failures.is_empty() { Ok(Ending::FINE) } else { Err(Failure::Several(failures)) }
}
