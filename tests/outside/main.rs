//! Checks against something outside the project.
mod motion;
mod outline;
