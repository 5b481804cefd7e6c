//! Checks against something outside the project.
mod beads;
mod motion;
mod outline;
mod program_words;
mod tows;
