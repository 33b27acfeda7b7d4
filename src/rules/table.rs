//! The rows. A source is a key of `docs/references.md`; a number that no source gives says so.

use super::{Mark, Rule, Sense};
use crate::units::Unit;

struct Row(&'static str, Sense, f64, (f64, f64), Unit, &'static str, Mark, &'static str);

#[rustfmt::skip]
const ROWS: &[Row] = {
    use Mark::*;
    use Sense::*;
    use Unit::{Deg, Gpa, Mm, Mm2, Mpa, N, NMmPerRad, NPerMm, Share};
    &[
    // Room over the ridge
    Row("attachment_room_mm", AtLeast, 5.0, (1.0, 20.0), Mm, "PRACTICE", CommonPractice, "Room from the gingiva to the opposing arch over a distal-extension hinge, denture tooth included"),
    Row("site_length_mm", Setting, 8.0, (2.0, 30.0), Mm, "PRACTICE", CommonPractice, "Length of crest behind the last abutment in which the attachment may stand"),
    Row("site_clear_of_abutment_mm", Setting, 1.0, (0.0, 5.0), Mm, "HOUSE", ProjectChoice, "Least distance of the attachment from the abutment's surface along the crest"),
    Row("site_default_length_mm", Setting, 6.0, (1.0, 20.0), Mm, "HOUSE", ProjectChoice, "Length along the crest of the footprint judged where no attachment is described"),
    Row("site_default_width_mm", Setting, 4.0, (1.0, 20.0), Mm, "HOUSE", ProjectChoice, "Width across the crest of the footprint judged where no attachment is described"),
    Row("site_tilt_deg", Setting, 5.0, (0.0, 20.0), Deg, "HOUSE", ProjectChoice, "Tilt allowed to the body from the opening direction, either way"),
    Row("abutment_crown_height_mm", AtLeast, 4.0, (1.0, 12.0), Mm, "HSIU", Secondary, "Crown height of the abutment beside an attachment; 4 to 6 mm are taught"),
    Row("contact_gap_mm", Setting, 0.20, (0.0, 1.0), Mm, "HOUSE", ProjectChoice, "Gap up to which opposing surfaces count as in contact when the articulation is told"),
    Row("overlap_allowed_mm", AtMost, 0.30, (0.0, 3.0), Mm, "KAK", Published, "Deepest overlap of the arches still taken for contact; virtual bites overlap by tenths of a millimetre"),
    Row("articulation_lever_deg", Setting, 0.1, (0.0, 1.0), Deg, "KAK", Published, "Roll or pitch by which a virtual bite can be off; it lowers the certainty of every figure beyond the polygon of contacts"),
    Row("site_shift_mm", Setting, 1.0, (0.0, 5.0), Mm, "HOUSE", ProjectChoice, "Way by which the attachment may stand beside the crest, either side"),
    Row("denture_tooth_room_mm", AtLeast, 5.0, (1.0, 15.0), Mm, "MEMORY", Memory, "Height for a denture tooth on its resin base without an attachment; 5 to 6 mm are comfortable, under 4 to 5 mm a metal base or metal occlusal surface is taught"),
    Row("tooth_corridor_share", Setting, 0.7, (0.2, 1.0), Share, "HOUSE", ProjectChoice, "Buccolingual width of a denture tooth as a share of the natural crown's; narrower than natural is common practice, a figure was not found"),
    Row("beyond_plane_mm", AtMost, 1.0, (0.2, 5.0), Mm, "HOUSE", ProjectChoice, "Way by which an opposing tooth may stand beyond the plane through the tips of its neighbours before it is pointed out; the arch's own curve takes up to 1 mm"),
    Row("hinge_tissue_move_mm", Setting, 1.0, (0.1, 4.0), Mm, "MEN68", Published, "Way by which the tissue under the end of a hinged base gives way; mucosa gives 0.4 to 2 mm"),
    Row("condylar_guidance_deg", Setting, 30.0, (0.0, 70.0), Deg, "MEMORY", Memory, "Condylar guidance to the occlusal plane where none is given; averages of 25 to 35 degrees are usual settings"),
    Row("bennett_deg", Setting, 15.0, (0.0, 40.0), Deg, "MEMORY", Memory, "Angle to the median plane at which the balancing condyle comes forward, where none is given"),
    Row("intercondylar_mm", Setting, 101.6, (70.0, 140.0), Mm, "G9", Published, "Intercondylar distance where none is given, and distance of the condyles from the incisors: Bonwill's triangle of 4 inches"),
    Row("balkwill_deg", Setting, 22.0, (5.0, 40.0), Deg, "MEMORY", Memory, "Angle of the plane through condyles and incisors to the occlusal plane; 22 to 26 degrees are given"),
    Row("excursion_mm", Setting, 3.0, (0.5, 8.0), Mm, "HOUSE", ProjectChoice, "Way of the condyles over which excursions are followed"),
    // Undercut, by clasp
    Row("undercut_cast_circumferential_mm", Setting, 0.25, (0.05, 1.0), Mm, "ANK", Published, "Undercut for a cast circumferential clasp"),
    Row("undercut_bar_mm", Setting, 0.50, (0.05, 1.0), Mm, "ANK", Published, "Undercut for a cast bar clasp; other texts keep 0.25 mm for cobalt-chromium"),
    Row("undercut_wrought_wire_mm", Setting, 0.75, (0.05, 1.5), Mm, "ANK", Published, "Greatest undercut for a wrought wire clasp; others teach 0.50 mm"),
    Row("undercut_ceiling_mm", AtMost, 0.762, (0.1, 2.0), Mm, "ANK", Published, "Undercut that a clasp should not exceed: 0.03 inch"),
    Row("tip_above_margin_mm", AtLeast, 1.0, (0.0, 4.0), Mm, "MEMORY", Memory, "Distance of the clasp tip from the gingival margin"),
    Row("bar_sulcus_mm", AtLeast, 4.0, (1.0, 15.0), Mm, "HSIU", Secondary, "Depth of the sulcus below the gingival margin on the side of a bar clasp"),
    Row("approach_arm_margin_mm", Setting, 3.0, (1.0, 8.0), Mm, "MEMORY", Memory, "Distance of a bar clasp's approach arm from the gingival margin along the tissue; other schools teach 4 mm (HSIU)"),
    Row("approach_arm_width_mm", Setting, 2.0, (0.5, 5.0), Mm, "HOUSE", ProjectChoice, "Width of tissue that the approach arm of a bar clasp is taken to run over"),
    Row("approach_arm_undercut_mm", AtMost, 0.5, (0.0, 3.0), Mm, "HOUSE", ProjectChoice, "Tissue undercut under an approach arm: no more than the usual relief under it; that it shall not cross one is taught (HSIU), a figure was not found"),
    Row("reciprocal_gap_mm", Setting, 0.02, (0.0, 0.2), Mm, "HOUSE", ProjectChoice, "Gap up to which a rigid arm opposite a clasp is taken to hold the tooth"),
    Row("reciprocal_lead_mm", AtLeast, 0.0, (-3.0, 5.0), Mm, "DERIVED", Derived, "How much earlier on seating the reciprocal arm holds the tooth than the clasp's tip passes the height of contour"),
    Row("tilt_most_deg", AtMost, 15.0, (1.0, 45.0), Deg, "BRAIN6", Secondary, "Tilt of the path of insertion from the occlusal normal; rarely over 10 to 15 degrees"),
    // Path of insertion
    Row("path_step_deg", Setting, 2.5, (0.5, 5.0), Deg, "HOUSE", ProjectChoice, "Spacing of the tilts that are tried; about the best they are four times closer"),
    Row("path_reduced_mm", Setting, 0.02, (0.0, 0.05), Mm, "HOUSE", ProjectChoice, "Distance within which the cast on which tilts are tried follows the scan; figures shown are measured on the scan"),
    Row("path_weight_retention", Setting, 3.0, (0.0, 10.0), Share, "HOUSE", ProjectChoice, "Weight of usable undercut at the clasps in the choice of the path"),
    Row("path_weight_balance", Setting, 1.0, (0.0, 10.0), Share, "HOUSE", ProjectChoice, "Weight of like undercut at all clasps"),
    Row("path_weight_guiding", Setting, 2.0, (0.0, 10.0), Share, "HOUSE", ProjectChoice, "Weight of guiding surfaces beside spans"),
    Row("path_weight_tissue", Setting, 2.0, (0.0, 10.0), Share, "HOUSE", ProjectChoice, "Weight of tissue that is not undercut where a rigid part crosses it"),
    Row("path_weight_blockout", Setting, 1.0, (0.0, 10.0), Share, "HOUSE", ProjectChoice, "Weight of little dead space to block out"),
    Row("path_weight_lean", Setting, 2.0, (0.0, 10.0), Share, "HOUSE", ProjectChoice, "Weight of staying near the occlusal normal"),
    // Guiding planes and rests
    Row("guiding_plane_height_tooth_mm", AtLeast, 2.0, (0.5, 6.0), Mm, "HSIU", Secondary, "Height of a guiding plane beside a tooth-supported span; 2 to 4 mm are taught"),
    Row("guiding_plane_height_extension_mm", AtLeast, 1.5, (0.5, 6.0), Mm, "BRAIN3", Secondary, "Height of a guiding plane beside a distal extension; 1.5 to 2 mm are taught"),
    Row("guiding_plane_width_share", Setting, 0.333, (0.1, 1.0), Share, "BRAIN3", Secondary, "Width of a guiding plane as a share of the tooth's buccolingual width; half the distance between the cusp tips is taught as well"),
    Row("guiding_plane_good_deg", AtMost, 2.0, (0.1, 10.0), Deg, "HOUSE", ProjectChoice, "Deviation from the path up to which a surface guides; no published tolerance was found"),
    Row("guiding_plane_prepare_deg", AtMost, 5.0, (0.1, 15.0), Deg, "HOUSE", ProjectChoice, "Deviation from the path up to which a surface is a plane that wants preparing; beyond it is none"),
    Row("rest_room_mm", AtLeast, 1.0, (0.3, 4.0), Mm, "MCQ", Secondary, "Room for the metal of a rest over the marginal ridge; 1.0 to 1.5 mm are taught"),
    Row("seat_confidence_least", Setting, 0.7, (0.5, 1.0), Share, "HOUSE", ProjectChoice, "Confidence from which a recess is called a prepared seat, and a whole ridge an ordinary one; between, nothing is claimed"),
    Row("seat_depth_mm", AtLeast, 1.0, (0.3, 4.0), Mm, "MCQ", Secondary, "Depth of a mesial or distal seat at the marginal ridge; 1.0 to 1.5 mm are taught"),
    Row("seat_width_mm", AtLeast, 2.5, (0.5, 6.0), Mm, "SLIDE-R", Secondary, "Width of a mesial or distal seat at the marginal ridge"),
    Row("seat_length_share", AtLeast, 0.333, (0.1, 1.0), Share, "MCQ", Secondary, "Length of a mesial or distal seat as a share of the mesiodistal crown; a third to a half is taught"),
    Row("seat_floor_deg", AtMost, 90.0, (45.0, 120.0), Deg, "MCQ", Secondary, "Angle between a seat's floor and the proximal surface or the tooth's axis: under a right angle the rest does not slide off"),
    Row("seat_cingulum_depth_mm", AtLeast, 1.5, (0.3, 4.0), Mm, "MEMORY", Memory, "Depth of a cingulum seat along the tooth"),
    Row("seat_cingulum_length_mm", AtLeast, 2.5, (0.5, 6.0), Mm, "MEMORY", Memory, "Mesiodistal length of a cingulum seat; 2.5 to 3 mm are taught"),
    Row("seat_incisal_depth_mm", AtLeast, 1.5, (0.3, 4.0), Mm, "HSIU", Secondary, "Depth of an incisal seat"),
    Row("seat_incisal_length_mm", AtLeast, 2.5, (0.5, 6.0), Mm, "HSIU", Secondary, "Mesiodistal length of an incisal seat"),
    Row("antagonist_far_mm", Setting, 5.0, (1.0, 20.0), Mm, "HOUSE", ProjectChoice, "Distance over a rest from which the opposing surface is not taken for an antagonist"),
    // Mandibular connectors
    Row("bar_below_margin_mm", Setting, 4.0, (1.0, 8.0), Mm, "MUH", Secondary, "Distance of a lingual bar's upper edge from the gingival margin; schools teach 3 or 4 mm"),
    Row("bar_below_margin_other_mm", Setting, 3.0, (1.0, 8.0), Mm, "FILI", Secondary, "The smaller distance that other schools teach"),
    Row("bar_height_mm", Setting, 4.0, (1.0, 8.0), Mm, "PGP", Secondary, "Height of a lingual bar"),
    Row("bar_depth_mm", AtLeast, 8.0, (4.0, 16.0), Mm, "MUH", Secondary, "Least depth from the gingival margin to the floor of the mouth for a lingual bar; schools teach 7 or 8 mm"),
    Row("bar_depth_other_mm", AtLeast, 7.0, (4.0, 16.0), Mm, "PGP", Secondary, "The smaller depth that other schools teach"),
    Row("plate_depth_mm", Setting, 5.0, (2.0, 16.0), Mm, "PGP", Secondary, "Depth under which a plate is taught instead of a bar; other notes say 8 mm"),
    Row("sublingual_below_margin_mm", Setting, 3.0, (1.0, 8.0), Mm, "FILI", Secondary, "Distance of a sublingual bar from the gingival margin"),
    Row("sublingual_height_mm", Setting, 2.0, (1.0, 4.0), Mm, "FILI", Secondary, "Height of a sublingual bar on the floor of the mouth"),
    Row("probe_reading_mm", Setting, 0.5, (0.1, 2.0), Mm, "HOUSE", ProjectChoice, "Standard uncertainty of a depth probed in the mouth, read to half a millimetre"),
    Row("cingulum_bar_height_mm", AtLeast, 2.0, (1.0, 4.0), Mm, "HSIU", Secondary, "Height of a cingulum bar; 2 to 3 mm are taught"),
    Row("labial_below_margin_mm", Setting, 3.0, (1.0, 8.0), Mm, "PGP", Secondary, "Distance of a labial bar's upper edge from the labial gingival margin"),
    // Maxillary connectors
    Row("palatal_border_mm", AtLeast, 6.0, (2.0, 12.0), Mm, "ANK", Published, "Distance of a palatal connector's border from the gingival margin"),
    Row("palatal_strap_width_mm", AtLeast, 8.0, (4.0, 16.0), Mm, "ANK", Published, "Width of a palatal strap"),
    Row("palatal_ap_strap_mm", AtLeast, 8.0, (4.0, 16.0), Mm, "MUH2", Secondary, "Width of the front and of the rear strap of an anterior-posterior palatal strap; 8 to 10 mm are taught"),
    Row("palatal_lateral_strap_mm", Setting, 7.0, (3.0, 12.0), Mm, "MUH2", Secondary, "Width of its side straps; 7 to 9 mm are taught"),
    Row("palatal_horseshoe_mm", AtLeast, 6.0, (3.0, 12.0), Mm, "MUH2", Secondary, "Width of the band of a U-shaped palatal connector; 6 to 8 mm are taught"),
    Row("tissue_undercut_mm", AtMost, 0.5, (0.05, 5.0), Mm, "HOUSE", ProjectChoice, "Undercut of soft tissue or bone under a rigid part, from which it is pointed out that the part cannot follow the surface; no published figure was found, mucosa gives way by a few tenths of a millimetre"),
    // Tori
    Row("torus_outline_mm", Setting, 0.5, (0.2, 1.0), Mm, "HOUSE", ProjectChoice, "Height at which a torus is outlined"),
    Row("torus_saddle_mm", Setting, 0.7, (0.2, 2.0), Mm, "HOUSE", ProjectChoice, "Depth of the saddle between two summits from which they count as separate lobes"),
    Row("torus_least_height_mm", Setting, 0.9, (0.3, 3.0), Mm, "HOUSE", ProjectChoice, "Height from which a rise is reported as a torus"),
    Row("torus_least_area_mm2", Setting, 10.0, (4.0, 60.0), Mm2, "HOUSE", ProjectChoice, "Area, taken at 15 % of its height, from which a rise is reported as a torus"),
    Row("torus_seen_depth_mm", Setting, 8.0, (2.0, 16.0), Mm, "HOUSE", ProjectChoice, "Depth of lingual wall under the margin down to which a torus would mostly be seen; where the scan ends above it, the sheet says so"),
    Row("torus_medium_mm", Setting, 2.0, (0.5, 6.0), Mm, "MEMORY", Memory, "Height from which a torus is called medium, under it small; another scheme says 3 mm"),
    Row("torus_large_mm", Setting, 4.0, (1.0, 10.0), Mm, "MEMORY", Memory, "Height over which a torus is called large; another scheme says 6 mm"),
    Row("keepout_margin_mm", Setting, 1.0, (0.0, 5.0), Mm, "HOUSE", ProjectChoice, "Width by which a torus outline is widened sideways; no published figure was found"),
    Row("relief_mm", Setting, 0.5, (0.0, 2.0), Mm, "MEMORY", Memory, "Relief square to the surface under a rigid part that crosses a torus: 0.5 to 1.0 mm, no published figure was found"),
    // Clasp arms
    Row("clasp_half_round_mm", Setting, 1.0, (0.3, 3.0), Mm, "MEMORY", Memory, "Thickness at its origin of a cast half-round clasp arm, half its height; 1.0 to 1.2 mm are taught"),
    Row("clasp_round_mm", Setting, 1.0, (0.4, 3.0), Mm, "HSIU", Secondary, "Diameter of a wrought wire clasp arm; 18 gauge is 1.02 mm"),
    Row("clasp_taper_share", Setting, 0.5, (0.1, 1.0), Share, "MEMORY", Memory, "Size of a cast clasp arm at its tip, as a share of that at its origin"),
    Row("clasp_friction_share", Setting, 0.2, (0.0, 0.6), Share, "HOUSE", ProjectChoice, "Friction between a clasp and the tooth; no figure for a wet tooth was seen"),
    Row("clasp_wall_deg", Setting, 15.0, (1.0, 60.0), Deg, "HOUSE", ProjectChoice, "Angle of the wall to the path at a clasp tip, where it is not measured"),
    Row("modulus_cobalt_chromium_gpa", Setting, 220.0, (100.0, 300.0), Gpa, "TRI", Published, "Modulus of cast cobalt-chromium"),
    Row("modulus_gold_type_iv_gpa", Setting, 91.0, (50.0, 150.0), Gpa, "TRI", Published, "Modulus of type IV gold"),
    Row("modulus_titanium_gpa", Setting, 110.0, (50.0, 150.0), Gpa, "TRI", Published, "Modulus of commercially pure titanium"),
    Row("modulus_titanium_alloy_gpa", Setting, 110.0, (50.0, 150.0), Gpa, "TRI", Published, "Modulus of titanium alloy"),
    Row("modulus_stainless_steel_gpa", Setting, 200.0, (100.0, 250.0), Gpa, "MEMORY", Memory, "Modulus of stainless steel wire; 190 to 200 GPa"),
    Row("modulus_platinum_gold_gpa", Setting, 110.0, (50.0, 200.0), Gpa, "MEMORY", Memory, "Modulus of platinum-gold-palladium wire; 100 to 120 GPa"),
    Row("modulus_peek_gpa", Setting, 3.74, (1.0, 20.0), Gpa, "TRI", Published, "Modulus of PEEK"),
    Row("modulus_acetal_gpa", Setting, 3.15, (1.0, 20.0), Gpa, "TRI", Published, "Modulus of acetal"),
    Row("proof_cobalt_chromium_mpa", AtMost, 500.0, (100.0, 2000.0), Mpa, "MEMORY", Memory, "Stress at which cast cobalt-chromium sets; 490 to 690 MPa are given"),
    Row("proof_gold_type_iv_mpa", AtMost, 275.0, (100.0, 1000.0), Mpa, "MEMORY", Memory, "Stress at which type IV gold sets when soft; hardened 490 MPa"),
    Row("proof_titanium_mpa", AtMost, 480.0, (100.0, 1500.0), Mpa, "MEMORY", Memory, "Stress at which commercially pure titanium of grade 4 sets"),
    Row("proof_titanium_alloy_mpa", AtMost, 830.0, (100.0, 2000.0), Mpa, "MEMORY", Memory, "Stress at which titanium alloy sets"),
    Row("proof_stainless_steel_mpa", AtMost, 1100.0, (200.0, 3000.0), Mpa, "MEMORY", Memory, "Stress at which stainless steel wire sets; 1100 to 1600 MPa are given"),
    Row("proof_platinum_gold_mpa", AtMost, 550.0, (100.0, 2000.0), Mpa, "MEMORY", Memory, "Stress at which platinum-gold-palladium wire sets; 550 to 900 MPa are given"),
    // Support of the denture
    Row("support_load_n", Setting, 100.0, (1.0, 1000.0), N, "HOUSE", ProjectChoice, "Load on each base; 180 N were measured at the first molar of a mandibular denture (JIDS), up to 220 N (JMDS05)"),
    Row("support_mucosa_soft_mpa", Setting, 1.0, (0.01, 20.0), Mpa, "MEMORY", Memory, "Least modulus of the mucosa; 1 to 5 MPa are usual in computed models, 0.06 to 8.9 MPa were measured"),
    Row("support_mucosa_firm_mpa", Setting, 5.0, (0.01, 20.0), Mpa, "MEMORY", Memory, "Greatest modulus of the mucosa"),
    Row("support_mucosa_thin_mm", Setting, 1.2, (0.2, 8.0), Mm, "JJPS07", Published, "Least thickness of the mucosa: 1.2 mm where the palate's is thin"),
    Row("support_mucosa_thick_mm", Setting, 2.8, (0.2, 8.0), Mm, "JJPS07", Published, "Greatest thickness of the mucosa: 2.8 mm where the palate's is thick"),
    Row("support_tooth_axial_low_n_per_mm", Setting, 200.0, (20.0, 20000.0), NPerMm, "MEMORY", Memory, "Least axial stiffness of a firm tooth, that of its first give; it stiffens under load (PIC63)"),
    Row("support_tooth_axial_high_n_per_mm", Setting, 900.0, (20.0, 20000.0), NPerMm, "MEMORY", Memory, "Greatest axial stiffness of a firm tooth at 10 to 20 N"),
    Row("support_tooth_lateral_low_n_per_mm", Setting, 45.0, (5.0, 5000.0), NPerMm, "MEMORY", Memory, "Least sideways stiffness of a firm crown, from its mobility under 5 N; 45 to 100 N/mm"),
    Row("support_tooth_lateral_high_n_per_mm", Setting, 300.0, (5.0, 5000.0), NPerMm, "HOUSE", ProjectChoice, "Greatest sideways stiffness of a firm crown: three times that under 5 N, since teeth stiffen under load"),
    Row("support_root_short_mm", Setting, 10.0, (3.0, 25.0), Mm, "MEMORY", Memory, "Shortest root in bone of an abutment"),
    Row("support_root_long_mm", Setting, 16.0, (3.0, 25.0), Mm, "MEMORY", Memory, "Longest root in bone of an abutment"),
    Row("support_joint_soft_n_mm_per_rad", Setting, 10000.0, (1.0, 1e8), NMmPerRad, "HOUSE", ProjectChoice, "Least stiffness against turning of a moment-carrying attachment; no published figure was found"),
    Row("support_joint_stiff_n_mm_per_rad", Setting, 1000000.0, (1.0, 1e8), NMmPerRad, "HOUSE", ProjectChoice, "Greatest stiffness against turning of a moment-carrying attachment"),
    Row("support_clasp_times", Setting, 2.0, (1.0, 20.0), Unit::Count, "HOUSE", ProjectChoice, "Times by which a clasp may be stiffer or softer than its arm's formula says"),
    Row("support_plate_gap_mm", Setting, 0.1, (0.0, 1.0), Mm, "HOUSE", ProjectChoice, "Greatest gap between a guiding plate and the tooth of the seated denture; 0 is the least"),
    Row("support_hinge_play_deg", Setting, 2.0, (0.0, 20.0), Deg, "HOUSE", ProjectChoice, "Greatest play of a hinge, new or worn, before the stop that keeps the base from lifting bears; 0 is the least"),
    Row("support_load_shift_mm", Setting, 2.0, (0.0, 10.0), Mm, "HOUSE", ProjectChoice, "Way by which a load may stand before or behind its tooth's place"),
    Row("support_differs_share", Setting, 0.1, (0.0, 1.0), Share, "HOUSE", ProjectChoice, "Difference between two designs, as a share of the greater figure, under which it is not called one"),
    // For and against a hinge
    Row("hinge_long_span_mm", Setting, 20.0, (5.0, 60.0), Mm, "HOUSE", ProjectChoice, "Length of crest from which a span counts as long; a long span is taught to speak for a hinge (DDEV), without a figure"),
    Row("hinge_broad_ridge_mm", Setting, 5.0, (1.0, 15.0), Mm, "HOUSE", ProjectChoice, "Width of ridge 3 mm under its crest from which it counts as broad; skulls of moderate loss measure about 5 mm of bone (CAW)"),
    // Two scans of one arch
    Row("ridge_unchanged_mm", AtMost, 0.18, (0.02, 2.0), Mm, "YAO", Derived, "Change of a ridge up to which two scans of an unchanged mouth differ: twice the root of two times the trueness of a scan on an edentulous ridge, 0.063 mm"),
    Row("reline_change_mm", Setting, 0.5, (0.1, 5.0), Mm, "HOUSE", ProjectChoice, "Lowering of a ridge at its deepest place from which the dentist is asked about a reline; no published figure was found"),
    Row("ridge_held_share", Setting, 0.8, (0.1, 1.0), Share, "HOUSE", ProjectChoice, "Share of a ridge's surface that the newer scan must hold for its change to count as that of the whole ridge"),
    Row("match_within_mm", Setting, 0.25, (0.05, 1.0), Mm, "HOUSE", ProjectChoice, "Distance within which a place of one scan agrees with the other scan laid onto it: four times the trueness of a scan"),
    Row("match_least_share", Setting, 0.42, (0.2, 1.0), Share, "HOUSE", ProjectChoice, "Share of the places held by both scans that must agree for the scans to be of one mouth; scans of different people agreed in at most 0.30"),
    Row("match_least_of_all", Setting, 0.1, (0.02, 1.0), Share, "HOUSE", ProjectChoice, "Share of all places of the older scan that must agree with the newer one"),
    // Confidence
    Row("plane_disagreement_deg", Setting, 25.0, (5.0, 90.0), Deg, "HOUSE", ProjectChoice, "Lean of a marked occlusal plane from that which the shape of the cast suggests, from which it is pointed out"),
    Row("confidence_least", Setting, 0.5, (0.0, 1.0), Share, "HOUSE", ProjectChoice, "Confidence under which a found thing is not used"),
    ]
};

pub(super) fn rows() -> Vec<Rule> {
    ROWS.iter()
        .map(|&Row(id, sense, number, allowed, unit, source, mark, says)| Rule {
            id,
            sense,
            number,
            allowed,
            unit,
            source,
            mark,
            says,
            changed: false,
        })
        .collect()
}
