//! Forms of incisors and canines.

use super::face::Face;
use super::wall::Outline;
use super::{CrownForm, Surface};

const STRAIGHT: [f64; 7] = [0.79, 0.935, 1.0, 0.985, 0.95, 0.9, 0.86];

pub(super) static UPPER_CENTRAL: CrownForm = CrownForm {
    outline: Outline {
        mesial: [0.62, 0.8, 0.88, 0.95, 0.995, 1.0, 0.975],
        distal: [0.57, 0.77, 0.86, 0.94, 0.995, 1.0, 0.94],
        buccal: STRAIGHT,
        lingual: STRAIGHT,
        square: 0.35,
        shear: 0.0,
        taper: 0.10,
        flutes: &[],
    },
    surface: Surface::Front(Face {
        labial: [1.40, 1.29, 1.18, 1.00, 0.82, 0.63, 0.46],
        curve: 0.55,
        ridge: 0.0,
        lobes: 0.07,
        lingual: [-1.40, -1.29, -1.16, -0.62, -0.14, 0.06, 0.13],
        margin: 0.55,
        rib: 0.0,
        tip: -0.1,
        shoulders: [0.1, 0.25],
        angles: [0.35, 0.9],
    }),
    papilla: 0.40,
};

pub(super) static UPPER_LATERAL: CrownForm = CrownForm {
    outline: Outline {
        mesial: [0.56, 0.76, 0.85, 0.92, 0.985, 1.0, 0.97],
        distal: [0.52, 0.74, 0.84, 0.94, 1.0, 0.97, 0.88],
        buccal: STRAIGHT,
        lingual: STRAIGHT,
        square: 0.30,
        shear: 0.0,
        taper: 0.10,
        flutes: &[],
    },
    surface: Surface::Front(Face {
        labial: [1.40, 1.29, 1.18, 0.99, 0.80, 0.62, 0.46],
        curve: 0.75,
        ridge: 0.0,
        lobes: 0.06,
        lingual: [-1.40, -1.29, -1.16, -0.62, -0.16, 0.04, 0.11],
        margin: 0.55,
        rib: 0.0,
        tip: -0.15,
        shoulders: [0.2, 0.6],
        angles: [0.65, 1.4],
    }),
    papilla: 0.40,
};

pub(super) static UPPER_CANINE: CrownForm = CrownForm {
    outline: Outline {
        mesial: [0.52, 0.74, 0.84, 0.93, 1.0, 0.98, 0.92],
        distal: [0.5, 0.7, 0.82, 0.94, 1.0, 0.95, 0.86],
        buccal: STRAIGHT,
        lingual: STRAIGHT,
        square: 0.18,
        shear: 0.0,
        taper: 0.10,
        flutes: &[],
    },
    surface: Surface::Front(Face {
        labial: [1.40, 1.29, 1.18, 1.02, 0.84, 0.64, 0.46],
        curve: 0.5,
        ridge: 1.1,
        lobes: 0.10,
        lingual: [-1.40, -1.29, -1.16, -0.80, -0.36, -0.10, 0.04],
        margin: 0.55,
        rib: 0.45,
        tip: -0.04,
        shoulders: [1.7, 2.3],
        angles: [0.9, 1.3],
    }),
    papilla: 0.40,
};

pub(super) static LOWER_CENTRAL: CrownForm = CrownForm {
    outline: Outline {
        mesial: [0.5, 0.69, 0.78, 0.87, 0.96, 1.0, 0.99],
        distal: [0.5, 0.69, 0.78, 0.87, 0.96, 1.0, 0.98],
        buccal: STRAIGHT,
        lingual: STRAIGHT,
        square: 0.30,
        shear: 0.0,
        taper: 0.08,
        flutes: &[],
    },
    surface: Surface::Front(Face {
        labial: [1.40, 1.29, 1.18, 0.93, 0.68, 0.46, 0.30],
        curve: 0.30,
        ridge: 0.0,
        lobes: 0.04,
        lingual: [-1.40, -1.29, -1.16, -0.66, -0.27, -0.12, -0.06],
        margin: 0.18,
        rib: 0.0,
        tip: 0.0,
        shoulders: [0.0, 0.1],
        angles: [0.45, 0.55],
    }),
    papilla: 0.40,
};

pub(super) static LOWER_LATERAL: CrownForm = CrownForm {
    outline: Outline {
        mesial: [0.5, 0.69, 0.78, 0.87, 0.96, 1.0, 0.99],
        distal: [0.5, 0.67, 0.77, 0.88, 0.98, 1.0, 0.96],
        buccal: STRAIGHT,
        lingual: STRAIGHT,
        square: 0.30,
        shear: 0.04,
        taper: 0.08,
        flutes: &[],
    },
    surface: Surface::Front(Face {
        labial: [1.40, 1.29, 1.18, 0.93, 0.68, 0.46, 0.30],
        curve: 0.35,
        ridge: 0.0,
        lobes: 0.05,
        lingual: [-1.40, -1.29, -1.16, -0.66, -0.27, -0.12, -0.06],
        margin: 0.20,
        rib: 0.0,
        tip: -0.1,
        shoulders: [0.05, 0.3],
        angles: [0.5, 0.9],
    }),
    papilla: 0.40,
};

pub(super) static LOWER_CANINE: CrownForm = CrownForm {
    outline: Outline {
        mesial: [0.57, 0.77, 0.86, 0.93, 0.985, 1.0, 0.97],
        distal: [0.5, 0.68, 0.79, 0.91, 1.0, 0.98, 0.9],
        buccal: STRAIGHT,
        lingual: STRAIGHT,
        square: 0.18,
        shear: 0.0,
        taper: 0.10,
        flutes: &[],
    },
    surface: Surface::Front(Face {
        labial: [1.40, 1.29, 1.18, 0.97, 0.76, 0.56, 0.40],
        curve: 0.45,
        ridge: 0.9,
        lobes: 0.08,
        lingual: [-1.40, -1.29, -1.16, -0.70, -0.32, -0.13, -0.03],
        margin: 0.35,
        rib: 0.22,
        tip: -0.10,
        shoulders: [1.0, 2.1],
        angles: [0.7, 1.2],
    }),
    papilla: 0.38,
};
