//! Values that are worked out once, by many threads, when the first of them asks.

use std::sync::OnceLock;

/// The value of a cell, worked out where nobody has yet. The cell is not held meanwhile: work in it that is spread over the
/// threads of a pool may take up other work of that pool, which asks for the same cell, and would wait for itself without end.
/// Threads that ask at the same time may each do the work; the first result is kept.
pub(crate) fn made_once<T>(cell: &OnceLock<T>, make: impl FnOnce() -> T) -> &T {
    if let Some(made) = cell.get() {
        return made;
    }
    let made = make();
    cell.get_or_init(|| made)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rayon::prelude::*;
    use std::time::Duration;

    /// With the cell held while its value is made, a round in a few dozen never ends.
    #[test]
    fn work_spread_over_a_pool_inside_a_cell_never_waits_for_itself() {
        let (done, waits) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(8).build().unwrap();
            let sums: Vec<u64> = pool.install(|| {
                let round = |_: u32| {
                    let cell = OnceLock::new();
                    let make = || (0..2000_u64).into_par_iter().map(|k| k % 7).sum::<u64>();
                    (0..64_u64).into_par_iter().map(|k| k + made_once(&cell, make)).sum()
                };
                (0..200).map(round).collect()
            });
            done.send(sums).unwrap();
        });
        let sums = waits.recv_timeout(Duration::from_secs(60)).expect("the pool waits for itself");
        let one = (0..2000_u64).map(|k| k % 7).sum::<u64>();
        assert_eq!(sums, vec![64 * one + 63 * 32; 200]);
    }
}
