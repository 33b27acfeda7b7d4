//! Classifies an arch from its missing teeth: `cargo run --release --example kennedy_class -- 36,37,45`.

#![allow(clippy::print_stdout)] // an example shows its result

use saddleroom::case::{Arch, Kennedy, Notation, chart};

fn main() {
    let missing = std::env::args().nth(1).unwrap_or_else(|| "36,37,45".to_owned());
    match chart::missing_from(&missing, Notation::Fdi, Arch::Mandible) {
        Ok(chart) => {
            match chart::kennedy(&chart, Arch::Mandible, &[]) {
                Kennedy::Class { class, modifications } => {
                    println!(
                        "missing {missing}: Kennedy class {class}, modification spaces: {modifications}"
                    );
                }
                Kennedy::Dentate => println!("missing {missing}: dentate"),
                Kennedy::Edentulous => println!("missing {missing}: edentulous"),
            }
            for span in chart::spans(&chart, Arch::Mandible, &[]) {
                let teeth: Vec<String> = span.teeth.iter().map(ToString::to_string).collect();
                println!("  span {}: {}", teeth.join(" "), span.kind.words());
            }
        }
        Err(errors) => errors.iter().for_each(|e| println!("{e}")),
    }
}
