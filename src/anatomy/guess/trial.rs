//! The finder on real scans in many poses, read in place.

use super::*;
use crate::anatomy::test_casts::{extracted, labelled, pose, real_scans};
use crate::space::angle_deg;

#[test]
fn frames_of_real_scans_in_any_pose() {
    let Some(folder) = real_scans() else { return };
    let poses: usize = std::env::var("POSES").ok().and_then(|p| p.parse().ok()).unwrap_or(2);
    let mut errors = Vec::new();
    for (i, scan) in labelled(&folder).into_iter().chain(extracted(&folder)).enumerate() {
        let topology = Topology::new(&scan.mesh);
        for k in 0..poses {
            let motion = pose(7 * i + k);
            let mesh = scan.mesh.moved(&motion);
            let start = std::time::Instant::now();
            let s = shape(&mesh, &topology);
            let found = frame(&mesh, &topology, scan.arch);
            let ms = start.elapsed().as_millis();
            let (Some(s), Ok(f)) = (s, found) else {
                println!("{} nothing", scan.name);
                continue;
            };
            let map = HeightMap::new(&mesh, s.plane.normal, 1.0).unwrap();
            let ratio = anterior(&map, &s.plane).unwrap().1;
            let up = angle_deg(&f.frame.occlusal, &(motion * scan.normal));
            let front = angle_deg(&f.frame.anterior, &(motion * scan.anterior));
            println!(
                "{:18} up {up:5.1} front {front:5.1} conf {:.2} seen {:.2} else {:.2} tips {} spread {:.1} detail {:.3} ratio {ratio:.2} {ms} ms",
                scan.name, f.confidence, s.seen, s.seen_elsewhere, s.tips, s.spread_mm, s.detail
            );
            errors.push((up, front));
        }
    }
    let mean = |pick: fn(&(f64, f64)) -> f64| errors.iter().map(pick).sum::<f64>() / errors.len() as f64;
    println!("mean up {:.2} front {:.2}", mean(|e| e.0), mean(|e| e.1));
    assert!(errors.iter().all(|e| e.0 < 12.0));
}
