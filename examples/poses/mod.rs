//! Random poses of casts.

use saddleroom::phantom::field::Variety;
use saddleroom::space::Motion;

/// A random turn and shift.
pub fn pose(v: &mut Variety) -> Motion {
    let turn = nalgebra::Quaternion::new(v.normal(), v.normal(), v.normal(), v.normal());
    let shift = nalgebra::Translation3::new(20.0 * v.normal(), 20.0 * v.normal(), 20.0 * v.normal());
    Motion::from_parts(shift, nalgebra::UnitQuaternion::new_normalize(turn))
}
