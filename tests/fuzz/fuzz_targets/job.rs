//! Whatever a job's bytes are, reading it ends without a panic.
#![no_main]

use towpath::diagnostic::Notes;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let path = std::env::temp_dir().join(format!("towpath-fuzz-{}.toml", std::process::id()));
    if std::fs::write(&path, bytes).is_ok() {
        let _ = towpath::job::named_files(&path);
        let _ = towpath::job::read(&mut Notes::default(), &path);
    }
});
