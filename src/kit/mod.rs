//! For whoever adds a printer: a profile to fill in, small programs that show
//! what a profile makes of a machine, trials whose readings go back into it, and
//! a fit of its times to prints that were timed.
//!
//! [`blank`] writes the profile to fill in; [`sample`] renders a small program
//! from a profile; [`trial`] writes the machine trials and their sheet; [`fit`]
//! learns from timed programs. All programs go through the same writer as plans.

pub mod blank;
pub mod fit;
pub mod materials;
pub mod sample;
pub mod sheet;
pub mod trial;

mod edit;
mod piece;
