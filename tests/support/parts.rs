//! Parts to plan, out of a seed.
