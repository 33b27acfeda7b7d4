//! Tori of the sample cases: as many lobes as stand there, each once.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use command::{Bench, saddleroom};
use serde_json::Value;

/// How far a summit may be read from the true one, mm: the tops are flat.
const SUMMIT_MM: f64 = 3.5;

fn place(v: &Value) -> [f64; 3] {
    [0, 1, 2].map(|k| v[k].as_f64().unwrap())
}

fn far(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
}

/// Lobes of `truth.json`, wherever it keeps them.
fn lobes(truth: &Value) -> Vec<[f64; 3]> {
    match truth {
        Value::Object(keys) => {
            keys.iter().flat_map(|(key, v)| if key == "lobes" { summits(v) } else { lobes(v) }).collect()
        }
        Value::Array(all) => all.iter().flat_map(lobes).collect(),
        _ => Vec::new(),
    }
}

fn summits(lobes: &Value) -> Vec<[f64; 3]> {
    lobes.as_array().unwrap().iter().map(|l| place(&l["summit_mm"])).collect()
}

#[test]
fn every_lobe_of_the_samples_is_told_once_and_nothing_else_is() {
    let bench = Bench::new();
    for (name, there) in [("oban", 1), ("whitby", 4), ("cromer", 0), ("lerwick", 1)] {
        let folder = format!("{}/sample-meshes/{name}", env!("CARGO_MANIFEST_DIR"));
        let out = bench.name(name);
        let ran = saddleroom(&["check", &format!("{folder}/case.toml"), "--out", &out]);
        assert!(ran.code < 2, "{name}: {}", ran.err);
        let read = |path: String| -> Value { serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap() };
        let truth = lobes(&read(format!("{folder}/truth.json")));
        assert_eq!(truth.len(), there, "{name}");
        let report = read(format!("{out}/report.json"));
        let told: Vec<[f64; 3]> =
            report["tori"].as_array().unwrap().iter().map(|t| place(&t["summit_mm"])).collect();
        assert_eq!(told.len(), there, "{name}: {told:.1?} for {truth:.1?}");
        for summit in &truth {
            let near = told.iter().filter(|t| far(**t, *summit) < SUMMIT_MM).count();
            assert_eq!(near, 1, "{name}: {near} told near {summit:.1?} of {told:.1?}");
        }
    }
}
