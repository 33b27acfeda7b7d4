//! Sets that are joined two by two, each told by one of its members, its root.

/// Sets of the numbers up to a count; at first each number is a set of its own.
pub(super) struct Joined(Vec<u32>);

impl Joined {
    /// `count` sets of one number each.
    pub fn new(count: usize) -> Joined {
        Joined((0..count as u32).collect())
    }

    /// The root of the set of a number.
    pub fn root(&mut self, of: usize) -> usize {
        let mut at = of;
        while self.0[at] as usize != at {
            self.0[at] = self.0[self.0[at] as usize];
            at = self.0[at] as usize;
        }
        at
    }

    /// Joins the sets of two numbers; the lower root stands for both.
    pub fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.put(a.max(b), a.min(b));
    }

    /// Puts the set of one root under another root, which stands for both.
    pub fn put(&mut self, root: usize, under: usize) {
        self.0[root] = under as u32;
    }
}
