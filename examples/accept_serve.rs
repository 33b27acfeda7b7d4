//! The work sheet at the size of a real scan, in a browser: `cargo run --release --example accept_serve -- [--tabs N] [--tilts N]`.
//!
//! A demo mandible of about 256 thousand triangles is served. First one page is tilted by its slider and the times from the
//! input to the figures and to the picture are printed; then so many tabs ask for so many tilts each, and the memory of the
//! program before and after is printed. Exit 1 where an answer is missing. Without a browser the first part is left out.

#![allow(clippy::print_stdout, clippy::unwrap_used)] // an example shows its result

#[path = "../tests/serving/mod.rs"]
mod serving;

use std::path::Path;

use fantoccini::key::Key;
use saddleroom::phantom::cast::Cast;
use saddleroom::phantom::demo;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::stl;
use serving::browser::{Page, in_a_browser, typed};
use serving::{Served, opened};

/// Tilts of the page that are timed.
const TIMED: usize = 20;

fn main() {
    let (mut tabs, mut tilts) = (2, 10);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let number = words.next().and_then(|w| w.parse::<usize>().ok());
        match (word.as_str(), number) {
            ("--tabs", Some(n)) => tabs = n,
            ("--tilts", Some(n)) => tilts = n,
            _ => return println!("accept_serve [--tabs N] [--tilts N]; there is no `{word}` so"),
        }
    }
    let folder = serving::case("oban");
    let triangles = dense(folder.path());
    println!("oban: {triangles} triangles in the restored arch");
    let served = Served::start(folder.path(), &["case.toml"]);
    let client = served.open();
    client.settled();
    // For the browser an address of its own: the first one is spent.
    let address = client.post("/api/address", &serde_json::Value::Null).fine().json();
    let address = address["address"].as_str().unwrap().to_owned();
    in_a_browser(async |page| timed(page, &address).await);

    let before = served.memory_mb();
    let workers: Vec<_> = (0..tabs)
        .map(|tab| {
            let client = client.clone();
            std::thread::spawn(move || {
                (0..tilts)
                    .filter(|n| {
                        let lean = |k: usize| ((tab * 31 + n * k) % 200) as f64 / 10.0 - 10.0;
                        let answer =
                            client.get(&format!("/api/tilt.bin?anterior={}&left={}", lean(7), lean(13)));
                        answer.status == 200 && !opened(&answer.body).1.is_empty()
                    })
                    .count()
            })
        })
        .collect();
    let answered: usize = workers.into_iter().map(|w| w.join().unwrap()).sum();
    println!(
        "{tabs} tabs with {tilts} tilts each: {answered} answers; memory {before:?} MB before, {:?} MB after",
        served.memory_mb()
    );
    if answered != tabs * tilts {
        std::process::exit(1);
    }
}

/// The scans of the case again, with triangles as dense as those of a scanner; how many the restored arch has.
fn dense(folder: &Path) -> usize {
    let pair = demo::pair("oban").unwrap();
    let write = |name: &str, cast: &Cast, cell_mm: f64| {
        let mesh = scan(cast, &Density::even(cell_mm));
        std::fs::write(folder.join(name), stl::binary(&mesh, "phantom")).unwrap();
        mesh.faces().len()
    };
    write("maxilla.stl", &pair.maxilla, 0.4);
    write("mandible.stl", &pair.mandible, 0.238)
}

/// Tilts of a page: least, median and most of the times, ms.
async fn timed(page: &Page, address: &str) {
    page.0.goto(address).await.unwrap();
    page.until("document.body.dataset.edition && document.getElementById('cast').dataset.tilts").await;
    let mut times = Vec::new();
    for n in 0..TIMED {
        // As a hand does it: the picture of the tilt before is there.
        tokio::time::sleep(std::time::Duration::from_millis(400)).await;
        times.push(page.tilts(["#anterior", "#left"][n % 2], &typed(Key::Right)).await);
    }
    for (k, what) in ["figures and table in the browser", "drawn"].iter().enumerate() {
        let mut all: Vec<u64> = times.iter().map(|t| t[k]).collect();
        all.sort_unstable();
        println!(
            "{what}: least {}, median {}, most {} ms of {TIMED} tilts",
            all[0],
            all[TIMED / 2],
            all[TIMED - 1]
        );
    }
}
