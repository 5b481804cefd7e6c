//! Whatever a map's text is, reading it ends without a panic.
#![no_main]

use std::sync::Arc;
use towpath::diagnostic::{Notes, Source};

libfuzzer_sys::fuzz_target!(|text: &str| {
    let source = Arc::new(Source { name: "map.toml".to_owned(), text: text.to_owned() });
    let _ = towpath::job::map::read(&mut Notes::default(), &source, None);
});
