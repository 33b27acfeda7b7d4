//! Teeth found on the scan: crowns told from soft tissue, one a tooth, numbered with the chart's help or by proposal.
//!
//! In a known frame the course of the arch is laid through what stands out in plan; profiles of curved detail and of
//! creases along it show where teeth stand, and a row of teeth of average widths is fitted to them; walks over the
//! surface that are slow across creases share the surface out among the teeth and the gingiva.

pub mod course;
pub mod graph;
pub mod profile;
pub mod row;
pub mod seeds;
pub mod walker;

use course::Rise;
use graph::Graph;
use profile::{Layout, Profile};
use row::{Row, Stretch, Wanted};
use seeds::Reach;

use super::arch_form::{crown_depth_mm, crown_height_mm};
use super::sign;
use crate::case::Tooth;
use crate::mesh::{Mesh, Topology};
use crate::space::Frame;

/// A tooth that was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundTooth {
    /// Its number.
    pub tooth: Tooth,
    /// How sure its crown is, 0 to 1.
    pub crown: f64,
}

/// The teeth of a cast.
#[derive(Clone, Debug)]
pub struct Found {
    /// Teeth from the patient's right to left.
    pub teeth: Vec<FoundTooth>,
    /// What the row costs: lower is a better fit.
    pub cost: f64,
    /// How sure the numbers are, 0 to 1.
    pub numbers: f64,
    /// Where the scan fits another chart much better: teeth that the chart calls missing and that seem to stand.
    pub against_chart: Option<Vec<Tooth>>,
    /// FDI number of each vertex, 0 = no tooth.
    pub labels: Vec<u8>,
}

/// Difference of cost to a row numbered otherwise from which on the numbers are sure.
pub const SURE_LEAD: f64 = 7.0;

/// A surface that teeth are looked for on.
pub struct Finder {
    graph: Graph,
    conductance: Vec<f64>,
}

impl Finder {
    /// Takes a cast up.
    pub fn new(mesh: &Mesh, topology: &Topology) -> Finder {
        let graph = Graph::new(mesh, topology);
        let conductance = walker::conductances(&graph);
        Finder { graph, conductance }
    }

    /// Finds the teeth in a known frame; `None` where nothing like a row of teeth is there.
    pub fn find(&self, frame: &Frame, wanted: &Wanted) -> Option<Found> {
        let graph = &self.graph;
        let local: Vec<[f64; 3]> = graph.at.iter().map(|p| frame.local(p)).collect();
        let along = |course: &course::Course| Along::new(graph, &local, frame, wanted, course);
        let walked = |along: Along, reach: Reach| along.walked(graph, &local, &self.conductance, reach);
        // What a rise is has two readings; the row of teeth that fits better tells which. In a frame that is not sure a share
        // of what lies around finds rows where there are none.
        let rises = if wanted.frame_sure { &Rise::ALL[..] } else { &[Rise::Whole] };
        let courses = course::by_rises(graph, &local, frame, wanted.arch, rises);
        let first = courses.into_iter().filter_map(|c| Some((along(&c)?, c)));
        let (first, laid) = first.min_by(|a, b| a.0.row.cost.total_cmp(&b.0.row.cost))?;
        let by_shape = walked(first, Reach::FIRST);
        let centres = centres(graph, &local, &by_shape.label, by_shape.row.teeth.len());
        let course = course::Course::through(&centres, &laid).unwrap_or(laid);
        let reach = Reach::found(graph, &by_shape.layout, &by_shape.label, &by_shape.row.teeth)
            .unwrap_or(Reach::FIRST);
        let pass = walked(along(&course)?, reach);
        let number = |label: u8| {
            usize::from(label)
                .checked_sub(1)
                .and_then(|k| pass.row.teeth.get(k))
                .map_or(0, |s| s.tooth.number())
        };
        let labels = graph.place_of.iter().map(|p| p.map_or(0, |p| number(pass.label[p as usize]))).collect();
        let teeth = pass
            .row
            .teeth
            .iter()
            .enumerate()
            .map(|(k, s)| FoundTooth { tooth: s.tooth, crown: pass.sure(graph, k, s) });
        let lead = pass.row.lead.map_or(1.0, |l| sign(l, 0.0, SURE_LEAD));
        Some(Found {
            teeth: teeth.collect(),
            cost: pass.row.cost,
            numbers: lead,
            against_chart: row::against_chart(&pass.profile, wanted, &pass.row),
            labels,
        })
    }
}

/// A row of teeth read along a course.
struct Along {
    layout: Layout,
    profile: Profile,
    row: Row,
}

impl Along {
    fn new(
        graph: &Graph,
        local: &[[f64; 3]],
        frame: &Frame,
        wanted: &Wanted,
        course: &course::Course,
    ) -> Option<Along> {
        let layout = Layout::new(course, local);
        let profile = Profile::new(graph, &layout, frame);
        let row = row::read(&profile, wanted);
        (!row.teeth.is_empty()).then_some(Along { layout, profile, row })
    }

    /// With the surface shared out.
    fn walked(self, graph: &Graph, local: &[[f64; 3]], conductance: &[f64], reach: Reach) -> Pass {
        let Along { layout, profile, row } = self;
        let start = seeds::starts(graph, &layout, local, &row.teeth, reach);
        let label = walker::likeliest(graph, conductance, &start, row.teeth.len() + 1);
        Pass { layout, profile, row, label }
    }
}

/// One reading along a course.
struct Pass {
    layout: Layout,
    profile: Profile,
    row: Row,
    /// 0 gingiva, else 1 + index into the row.
    label: Vec<u8>,
}

impl Pass {
    /// How sure a crown is: detail as of a tooth, not cut by the border of the scan, of a plausible size.
    fn sure(&self, graph: &Graph, k: usize, s: &Stretch) -> f64 {
        let (mut area, mut cut) = (0.0, 0.0);
        for i in (0..graph.len()).filter(|&i| usize::from(self.label[i]) == k + 1) {
            area += graph.area[i];
            cut += if graph.border[i] { graph.area[i] } else { 0.0 };
        }
        if area <= 0.0 {
            return 0.0;
        }
        let long = s.ends[1] - s.ends[0];
        // Walls and top of a box of the average height about the stretch, a little rounded.
        let deep = crown_depth_mm(s.tooth.arch(), s.tooth.place());
        let expected = 0.8
            * (1.4 * (long + deep) * crown_height_mm(s.tooth.arch(), s.tooth.place()) * 0.8 + long * deep);
        let size = (area / expected).min(expected / area);
        sign(s.presence, -0.4, 0.2) * sign(-cut / area, -0.25, -0.05) * sign(size, 0.25, 0.5)
    }
}

/// Middle of each found crown in plan, those with hardly any surface left out.
fn centres(graph: &Graph, local: &[[f64; 3]], label: &[u8], count: usize) -> Vec<[f64; 2]> {
    let mut sums = vec![[0.0; 3]; count + 1];
    for i in 0..graph.len() {
        let s = &mut sums[usize::from(label[i])];
        s[0] += graph.area[i] * local[i][0];
        s[1] += graph.area[i] * local[i][1];
        s[2] += graph.area[i];
    }
    sums[1..].iter().filter(|s| s[2] > 5.0).map(|s| [s[0] / s[2], s[1] / s[2]]).collect()
}
