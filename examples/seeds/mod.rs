//! The seeds that an example is asked for.

/// First and last seed: of the words after the example's name, or as they stand without any.
pub fn asked(unasked: (u64, u64)) -> Result<(u64, u64), std::num::ParseIntError> {
    let words: Vec<u64> = std::env::args().skip(1).map(|w| w.parse()).collect::<Result<_, _>>()?;
    Ok(match words.as_slice() {
        [] => unasked,
        [one] => (*one, *one),
        [first, last, ..] => (*first, *last),
    })
}
