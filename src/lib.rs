//! towpath: layered outline + reinforcement map -> two-head program.
//!
//! One run reads as a list: [`job`] (what is asked) -> [`outline`] (layers of
//! polygons) -> [`fibre`] (courses) -> [`matrix`] (beads).

pub mod cli;
pub mod estimate;
pub mod fibre;
pub mod gcode;
pub mod job;
pub mod kit;
pub mod matrix;
pub mod motion;
pub mod outline;
pub mod plan;
pub mod plan_file;
pub mod quote;
pub mod reinforcement;
pub mod report;
pub mod sequence;
pub mod verify;

pub mod diagnostic;
pub mod files;
pub mod geom;
