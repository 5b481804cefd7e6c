//! Checks against something outside the project.
mod outline;
