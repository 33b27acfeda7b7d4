//! Solids with known answers and whole synthetic casts with their truth.
