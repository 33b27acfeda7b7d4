//! Order in which a front spreads over a mesh.

use std::cmp::Ordering;

use super::VertexId;

/// A vertex at a distance, mm. In a [`std::collections::BinaryHeap`] the nearest comes first, ties by the lower index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reached(pub f64, pub VertexId);

impl Eq for Reached {}

impl Ord for Reached {
    fn cmp(&self, other: &Reached) -> Ordering {
        other.0.total_cmp(&self.0).then(other.1.cmp(&self.1))
    }
}

impl PartialOrd for Reached {
    fn partial_cmp(&self, other: &Reached) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_comes_first_and_ties_go_to_the_lower_index() {
        let mut heap: std::collections::BinaryHeap<Reached> =
            [Reached(2.0, 1), Reached(0.5, 9), Reached(0.5, 4)].into_iter().collect();
        assert_eq!(heap.pop(), Some(Reached(0.5, 4)));
        assert_eq!(heap.pop(), Some(Reached(0.5, 9)));
        assert_eq!(heap.pop(), Some(Reached(2.0, 1)));
    }
}
