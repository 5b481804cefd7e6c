//! What a run looks like: a page to read and look at, and pictures of layers.
//!
//! [`page`] makes one file that opens anywhere, without a network; [`picture`]
//! draws a layer as an engineering drawing. Both are made from the stages' own
//! results, in [`Work`], never from the written program.

mod canvas;
mod lettering;
mod pack;
mod page;
mod picture;
mod png;
mod sheet;
mod svg;

pub use page::{Told, page};
pub use picture::{Format, is_other_drawing, picture};

use crate::matrix::LayerBeads;
use crate::outline::Outline;
use crate::sequence::Program;

/// What the stages of one run made.
#[derive(Clone, Debug, Default)]
pub struct Work {
    /// The part, layer by layer.
    pub outline: Outline,
    /// The beads of every layer.
    pub beads: Vec<LayerBeads>,
    /// The moves, with the courses in the order and sense laid.
    pub program: Program,
    /// Seconds of each move.
    pub seconds: Vec<f64>,
    /// For every layer the direction asked for, degrees, by a region's place in
    /// order of priority.
    pub angles_deg: Vec<Vec<(usize, f64)>>,
}
