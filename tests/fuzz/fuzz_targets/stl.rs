//! Whatever a mesh's bytes are, reading it ends without a panic.
#![no_main]

#[path = "outline.rs"]
mod outline;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| outline::read(bytes, "stl"));
