//! Writes the casts of a phantom as STL: `cargo run --release --example make_cast -- OUT_DIR [CELL_MM]`.

use saddleroom::case::{Arch, Side, Tooth};
use saddleroom::phantom::patient::{Patient, SeatPlace, TorusWish, casts};
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::stl;

fn main() -> std::io::Result<()> {
    let mut arguments = std::env::args().skip(1);
    let dir = std::path::PathBuf::from(arguments.next().unwrap_or_else(|| "out/cast".to_owned()));
    let cell = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(0.4);
    std::fs::create_dir_all(&dir)?;
    let t = |n| Tooth::fdi(n).into_iter();
    let patient = Patient {
        seed: 3,
        size: 1.0,
        missing: [36, 37, 45].into_iter().flat_map(t).collect(),
        resorption_mm: 2.2,
        ridge_half_mm: 3.9,
        tori: vec![TorusWish {
            side: Side::Left,
            place: 4.6,
            below_crest_mm: 5.0,
            height_mm: 3.0,
            length_mm: 11.0,
            width_mm: 7.0,
        }],
        seats: [(35, SeatPlace::Mesial), (44, SeatPlace::Distal), (46, SeatPlace::Mesial)]
            .into_iter()
            .flat_map(|(n, p)| t(n).map(move |t| (t, p)))
            .collect(),
        unevenness: 0.8,
    };
    let start = std::time::Instant::now();
    let pair = casts(&patient);
    println!("casts {:?}", start.elapsed());
    for (cast, name) in [(pair.mandible.as_ref(), "mandible"), (&pair.maxilla, "maxilla")] {
        let mut density = Density::coarse(cell);
        if cell < 0.5 {
            density.fine_mm = Some(0.42);
            density.teeth_mm = 0.55;
            density.tissue_mm = 0.85;
            density.fine_teeth = if cast.arch == Arch::Mandible {
                [35, 44, 46].into_iter().flat_map(t).collect()
            } else {
                Vec::new()
            };
            if cast.arch == Arch::Mandible {
                density.fine_ridges = vec![[28.0, 60.0], [-35.0, -22.0]];
            }
        }
        let mesh = scan(cast, &density);
        println!("{name}: {} triangles {:?}", mesh.faces().len(), start.elapsed());
        std::fs::write(dir.join(format!("{name}.stl")), stl::binary(&mesh, name))?;
    }
    Ok(())
}
