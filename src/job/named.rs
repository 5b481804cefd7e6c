//! Printers and materials that a command line names: built in, or files.

use super::builtin::{self, BuiltIn};
use super::material::{self, Matrix, Tow};
use super::printer::{self, Printer};
use super::read::{built_in_text, first_text, is_path};
use crate::diagnostic::nearest::{listed, nearest};
use crate::diagnostic::{Diagnostic, Outcome, Source};
use std::path::Path;
use std::sync::Arc;

/// A printer by the name of a built-in one, or by the path of a `.toml`; with its text.
///
/// Errors: `unknown-name`, `input-missing` and the like, every fault of the file.
pub fn printer_named(typed: &str) -> Outcome<(Arc<Source>, Printer)> {
    named("printer", typed, builtin::PRINTERS, printer::read)
}

/// A matrix, likewise.
///
/// Errors: as [`printer_named`].
pub fn matrix_named(typed: &str) -> Outcome<Matrix> {
    named("matrix", typed, builtin::MATRICES, material::read_matrix).map(|(_, m)| m)
}

/// A tow, likewise.
///
/// Errors: as [`printer_named`].
pub fn tow_named(typed: &str) -> Outcome<Tow> {
    named("tow", typed, builtin::TOWS, material::read_tow).map(|(_, t)| t)
}

/// The built-in matrix of a name.
pub fn built_in_matrix(name: &str) -> Option<Matrix> {
    material::read_matrix(&built_in_text(builtin::find(builtin::MATRICES, name)?)).ok()
}

/// The built-in tow of a name.
pub fn built_in_tow(name: &str) -> Option<Tow> {
    material::read_tow(&built_in_text(builtin::find(builtin::TOWS, name)?)).ok()
}

fn named<T>(
    what: &str,
    typed: &str,
    list: &'static [BuiltIn],
    read: impl Fn(&Arc<Source>) -> Outcome<T>,
) -> Outcome<(Arc<Source>, T)> {
    let source = match builtin::find(list, typed) {
        Some(built_in) => built_in_text(built_in),
        None if is_path(typed) => first_text(Path::new(typed))?,
        None => return Err(unknown(what, typed, list).into()),
    };
    let value = read(&source)?;
    Ok((source, value))
}

/// The message for a name that is no built-in one.
pub(super) fn unknown(what: &str, typed: &str, list: &'static [BuiltIn]) -> Diagnostic {
    let names = builtin::names(list);
    let d = Diagnostic::error("unknown-name", format!("there is no built-in {what} `{typed}`"));
    let d = match nearest(typed, names.iter().copied()) {
        Some(near) => d.help(format!("did you mean `{near}`?")),
        None => d.help(format!("built in: {}", listed(&names))),
    };
    d.help("a file of your own is a path that ends in .toml")
}
