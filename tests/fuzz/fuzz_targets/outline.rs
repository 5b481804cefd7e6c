//! Reads an outline from bytes, through a file of this process.

use std::sync::Arc;
use towpath::diagnostic::{Notes, Place, Source};
use towpath::job::OutlineFile;

/// Reads bytes as the file of an ending.
pub fn read(bytes: &[u8], ending: &str) {
    let path = std::env::temp_dir().join(format!("towpath-fuzz-{}.{ending}", std::process::id()));
    if std::fs::write(&path, bytes).is_err() {
        return;
    }
    let source = Arc::new(Source { name: "job.toml".to_owned(), text: "outline".to_owned() });
    let file = OutlineFile {
        path,
        typed: "part".to_owned(),
        thickness_mm: Some(0.4),
        unit_mm: 1.0,
        place: Place { source, span: 0..7, label: String::new() },
    };
    if let Err(faults) = towpath::outline::read(&mut Notes::default(), &file, 0.2) {
        assert!(!faults.0.is_empty(), "refused without a word");
    }
}
