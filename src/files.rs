//! The one door to the file system.

use crate::diagnostic::nearest::nearest;
use crate::diagnostic::{Diagnostic, Outcome};
use sha2::{Digest, Sha256};
use std::path::Path;

/// A file that went into a job, for the plan's record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// job | map | field | outline | printer | matrix | tow.
    pub role: &'static str,
    /// File name without folders, or `built-in NAME`.
    pub file: String,
    /// sha256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

impl Input {
    /// Records some bytes.
    pub fn of(role: &'static str, file: impl Into<String>, bytes: &[u8]) -> Self {
        use std::fmt::Write as _;
        let mut sha256 = String::with_capacity(64);
        for b in Sha256::digest(bytes) {
            let _ = write!(sha256, "{b:02x}");
        }
        Self { role, file: file.into(), sha256 }
    }
}

/// Largest input, bytes. Bounds memory: the largest real layered part seen is
/// some 100 MB.
pub const LARGEST_INPUT: u64 = 1 << 30;

/// Reads a whole file that the job names. A missing or unreadable file is a
/// fault of the job.
///
/// Errors: `file-missing`, `file-unreadable`, `file-too-large`.
pub fn read(path: &Path) -> Outcome<Vec<u8>> {
    check(path)?;
    use std::io::Read as _;
    // a pipe or a device tells no size beforehand
    let mut bytes = Vec::new();
    let read = open(path)?.take(LARGEST_INPUT + 1).read_to_end(&mut bytes);
    read.map_err(|e| failed(path, &e))?;
    if bytes.len() as u64 > LARGEST_INPUT {
        return Err(too_large(path, &format!("more than {LARGEST_INPUT}")).into());
    }
    Ok(bytes)
}

/// The first bytes of a file, as text; `None` where there is none that can be read.
pub fn head(path: &Path, most: usize) -> Option<String> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    open(path).ok()?.take(most as u64).read_to_end(&mut bytes).ok()?;
    Some(String::from_utf8_lossy(&bytes).into_owned())
}

/// The first file that there is of a name with one of some endings behind it.
pub fn with_ending(path: &Path, endings: &[&str]) -> Option<String> {
    let name = path.file_name()?.to_string_lossy().into_owned();
    let mut names = endings.iter().map(|ending| format!("{name}.{ending}"));
    names.find(|name| path.with_file_name(name).is_file())
}

/// Opens a file to be read as a stream, however large it is.
///
/// Errors: `file-missing`, `file-unreadable`.
pub fn open(path: &Path) -> Outcome<std::fs::File> {
    let file = std::fs::File::open(path).map_err(|e| failed(path, &e))?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        let name = path.display().to_string();
        return Err(Diagnostic::error("file-unreadable", format!("`{name}` is a folder, not a file"))
            .in_file(name)
            .into());
    }
    Ok(file)
}

/// Looks whether a file that the job names can be read, without reading it.
///
/// Errors: as [`read`].
pub fn check(path: &Path) -> Outcome<()> {
    let name = path.display().to_string();
    let meta = std::fs::metadata(path).map_err(|e| failed(path, &e))?;
    if meta.is_dir() {
        return Err(Diagnostic::error("file-unreadable", format!("`{name}` is a folder, not a file"))
            .in_file(name)
            .into());
    }
    if meta.len() > LARGEST_INPUT {
        return Err(too_large(path, &meta.len().to_string()).into());
    }
    Ok(())
}

fn too_large(path: &Path, bytes: &str) -> Diagnostic {
    let name = path.display().to_string();
    let message = format!("`{name}` has {bytes} bytes, at most {LARGEST_INPUT} are read");
    Diagnostic::error("file-too-large", message).in_file(name)
}

/// Why the system would not write, without its own numbers.
pub fn why(e: &std::io::Error) -> String {
    use std::io::ErrorKind as Kind;
    match e.kind() {
        Kind::AlreadyExists => "it is a file or a link to nothing, not a folder".to_owned(),
        Kind::NotADirectory => "a folder on the way to it is a file".to_owned(),
        Kind::NotFound => "no folder can be made there".to_owned(),
        Kind::PermissionDenied => "no permission".to_owned(),
        Kind::StorageFull => "the disk is full".to_owned(),
        Kind::ReadOnlyFilesystem => "the disk can be read only".to_owned(),
        _ => e.to_string(),
    }
}

fn failed(path: &Path, e: &std::io::Error) -> Diagnostic {
    let name = path.display().to_string();
    if e.kind() == std::io::ErrorKind::NotFound {
        let d = Diagnostic::error("file-missing", format!("there is no file `{name}`")).in_file(name);
        looked_in(path).into_iter().fold(d, Diagnostic::help)
    } else {
        Diagnostic::error("file-unreadable", format!("`{name}` cannot be read: {e}")).in_file(name)
    }
}

/// Where a file that is not there was looked for, and what stands there under a name like it.
fn looked_in(path: &Path) -> Vec<String> {
    /// Entries of a folder that are compared at most: bounds the time.
    const MOST: usize = 10_000;
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let shown = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
    let Ok(entries) = std::fs::read_dir(folder) else {
        return vec![format!("there is no folder `{}`", shown.display())];
    };
    let files = entries.take(MOST).flatten().filter(|e| !e.path().is_dir());
    let mut names: Vec<String> = files.map(|e| e.file_name().to_string_lossy().into_owned()).collect();
    // folders give their entries in any order
    names.sort();
    let mut help = vec![format!("looked for in the folder `{}`", shown.display())];
    help.extend(like(path, &names).map(|n| format!("did you mean `{n}`?")));
    help
}

/// The name most like that of a path: a shared ending makes no names alike.
fn like<'a>(path: &Path, names: &'a [String]) -> Option<&'a str> {
    let parts = |p: &Path| {
        [p.file_stem(), p.extension()].map(|part| part.unwrap_or_default().to_string_lossy().into_owned())
    };
    let [stem, ending] = parts(path);
    let longer = format!(".{}", path.file_name().unwrap_or_default().to_string_lossy());
    let of_kind: Vec<(String, &str)> = names
        .iter()
        .map(|n| (parts(Path::new(n)), n.as_str()))
        .filter(|([_, e], _)| e.eq_ignore_ascii_case(&ending))
        .map(|([stem, _], n)| (stem, n))
        .collect();
    let near = nearest(&stem, of_kind.iter().map(|(stem, _)| stem.as_str()));
    let found = of_kind.iter().find(|(stem, _)| Some(stem.as_str()) == near).map(|(_, n)| *n);
    let part = || names.iter().find(|n| n.ends_with(&longer)).map(String::as_str);
    // the same name of another kind: of one without an ending the job, else not the job's or the
    // map's own
    let bare = path.extension().is_none();
    let kin = || names.iter().find(|n| parts(Path::new(n))[0] == stem && n.ends_with(".toml") == bare);
    let kin = || kin().map(String::as_str);
    found.or_else(part).or_else(kin)
}

/// Writes several files of one folder, each whole or not at all: all of them, or, where one
/// cannot be written, none.
///
/// Each is written beside its place under a temporary name, flushed to the disk,
/// and only then are they renamed, one after the other. Should a rename fail between two, as
/// where another program holds the old file open, those before it have appeared.
///
/// Errors: of the file system; `IsADirectory` where a folder has the name of a file.
pub fn write_all(folder: &Path, files: &[(String, Vec<u8>)]) -> std::io::Result<()> {
    // a rename onto a folder fails: told before the first
    if let Some((name, _)) = files.iter().find(|(name, _)| folder.join(name).is_dir()) {
        return Err(std::io::Error::new(
            std::io::ErrorKind::IsADirectory,
            format!("`{name}` is a folder there"),
        ));
    }
    for (place, file) in ready(folder, files)? {
        file.persist(place).map_err(|e| e.error)?;
    }
    Ok(())
}

/// Looks whether files can be written to a folder that is there or can be made: nothing stays
/// of it.
///
/// Errors: of the file system. That the disk is full shows only when it is written to.
pub fn writable(folder: &Path) -> std::io::Result<()> {
    let mut there = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    // a link to nothing is there: no folder can be made in its place
    while std::fs::symlink_metadata(there).is_err() {
        there = match there.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        if there == Path::new(".") {
            break;
        }
    }
    if !there.is_dir() {
        let whole = there == folder;
        return Err(if whole {
            std::io::ErrorKind::AlreadyExists
        } else {
            std::io::ErrorKind::NotADirectory
        }
        .into());
    }
    let mut temporary = tempfile::Builder::new();
    temporary.prefix(TEMPORARY).rand_bytes(CHANCE);
    // as it will be: a file in the folder, or a folder on the way to it
    if there == folder {
        temporary.tempfile_in(there).map(drop)
    } else {
        temporary.tempdir_in(there).map(drop)
    }
}

/// Writes several new files of one folder, none over a file that is there.
///
/// Errors: `AlreadyExists` where one is there; those written before it are taken
/// away again.
pub fn write_new(folder: &Path, files: &[(String, Vec<u8>)]) -> std::io::Result<()> {
    let mut written = Vec::new();
    for (place, file) in ready(folder, files)? {
        match file.persist_noclobber(&place) {
            Ok(_) => written.push(place),
            Err(e) => {
                for place in written {
                    std::fs::remove_file(place)?;
                }
                return Err(e.error);
            }
        }
    }
    Ok(())
}

/// What tells whether a file was written since: its time and its size; `None`
/// where there is none.
pub fn stamp(path: &Path) -> Option<(std::time::SystemTime, u64)> {
    let meta = std::fs::metadata(path).ok()?;
    Some((meta.modified().ok()?, meta.len()))
}

/// What names of files begin with that are written and not yet in their place.
const TEMPORARY: &str = ".towpath-unfinished-";

/// And how many letters follow, chosen by chance.
const CHANCE: usize = 12;

/// Age from which on such a file is left over from a run that was stopped: no other one writes
/// for so long.
const LEFT_OVER: std::time::Duration = std::time::Duration::from_secs(3600);

/// Takes away what runs that were stopped while they wrote have left in a folder. Where that
/// is not possible nothing is lost.
fn clear_away(folder: &Path) {
    let old = |entry: &std::fs::DirEntry| {
        let name = entry.file_name();
        let rest = name.to_str().and_then(|name| name.strip_prefix(TEMPORARY));
        let ours =
            rest.is_some_and(|rest| rest.len() == CHANCE && rest.chars().all(|c| c.is_ascii_alphanumeric()));
        let meta = entry.metadata().ok().filter(|m| ours && m.is_file());
        meta.and_then(|m| m.modified().ok()?.elapsed().ok()).is_some_and(|age| age > LEFT_OVER)
    };
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten().filter(old) {
        let _ = std::fs::remove_file(entry.path());
    }
}

/// The files written under temporary names beside their places.
fn ready(
    folder: &Path,
    files: &[(String, Vec<u8>)],
) -> std::io::Result<Vec<(std::path::PathBuf, tempfile::NamedTempFile)>> {
    use std::io::Write as _;
    std::fs::create_dir_all(folder)?;
    clear_away(folder);
    let mut ready = Vec::new();
    for (name, bytes) in files {
        let mut temporary = tempfile::Builder::new();
        temporary.prefix(TEMPORARY).rand_bytes(CHANCE);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            // the user's umask decides, as for any other file
            temporary.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let mut file = temporary.tempfile_in(folder)?;
        file.write_all(bytes)?;
        file.as_file().sync_all()?;
        ready.push((folder.join(name), file));
    }
    Ok(ready)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_stopped_run_left_is_taken_away_and_nothing_else() {
        let folder = tempfile::tempdir().expect("a folder");
        let old = std::time::SystemTime::now() - 2 * LEFT_OVER;
        for (name, aged) in [
            (".towpath-unfinished-aB3dE6gH9jK2", true),
            (".towpath-unfinished-zz9zz9zz9zz9", false),
            (".towpath-unfinished-notes", true),
            ("other", true),
        ] {
            let file = std::fs::File::create(folder.path().join(name)).expect("a file");
            if aged {
                file.set_modified(old).expect("its time");
            }
        }
        write_all(folder.path(), &[("new".to_owned(), b"1".to_vec())]).expect("written");
        let mut names: Vec<String> = std::fs::read_dir(folder.path())
            .expect("the folder")
            .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        assert_eq!(names, [".towpath-unfinished-notes", ".towpath-unfinished-zz9zz9zz9zz9", "new", "other"]);
    }

    #[test]
    fn a_name_is_found_by_what_is_before_its_ending() {
        let names = ["arm.map.toml", "arm.svg", "arm.toml", "Link.svg"].map(str::to_owned);
        let like = |typed: &str| like(Path::new(typed), &names);
        assert_eq!(like("a/amr.svg"), Some("arm.svg"));
        assert_eq!(like("link.svg"), Some("Link.svg"), "case");
        assert_eq!(like("map.toml"), Some("arm.map.toml"), "the end of a longer name");
        assert_eq!(like("arm.dxf"), Some("arm.svg"), "another kind");
        assert_eq!(like("field.csv"), None);
        assert_eq!(like("arm"), Some("arm.toml"), "without an ending: the job");
    }
}
