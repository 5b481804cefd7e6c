//! towpath: layered outline + reinforcement map -> two-head program.
//!
//! One run reads as a list, in [`plan`]: [`job`] (what is asked) -> [`outline`] (layers of
//! polygons) -> [`reinforcement`] (what to lay where) -> [`fibre`] (courses) -> [`matrix`]
//! (beads) -> [`sequence`] (moves) -> [`motion`] (seconds) -> [`gcode`] (the program),
//! [`estimate`] (lengths, masses, times), [`plan_file`], [`report`]. [`verify`] reads a
//! program again; [`quote`] answers for a year's series; [`kit`] is for a printer's author.

pub mod job;
pub mod outline;
pub mod reinforcement;
pub mod fibre;
pub mod matrix;
pub mod sequence;
pub mod motion;
pub mod gcode;
pub mod estimate;
pub mod report;
pub mod verify;
pub mod plan;
pub mod plan_file;
pub mod quote;
pub mod kit;
pub mod cli;

mod count;
pub mod diagnostic;
pub mod files;
pub mod geom;
