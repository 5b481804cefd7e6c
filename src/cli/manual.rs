//! `manual [COMMAND]`: manual pages in roff, made from the command line's own help.

use super::{Cli, Report};
use crate::diagnostic::nearest::help;
use crate::diagnostic::{Diagnostic, Outcome};
use clap::CommandFactory as _;
use serde_json::json;

/// The page of towpath itself, or of one of its commands.
///
/// Errors: `unknown-name`, `system`.
pub(super) fn report(command: Option<&str>) -> Outcome<Report> {
    let mut whole = Cli::command();
    whole.build();
    let page = match command {
        None => whole,
        Some(name) => match whole.find_subcommand(name) {
            Some(found) => {
                let title: &'static str = Box::leak(format!("towpath-{}", found.get_name()).into_boxed_str());
                found.clone().name(title)
            }
            None => {
                let names: Vec<&str> = whole.get_subcommands().map(clap::Command::get_name).collect();
                let d = Diagnostic::error("unknown-name", format!("there is no command `{name}`"));
                return Err(d.help(help(name, &names, "commands")).into());
            }
        },
    };
    let mut roff = Vec::new();
    clap_mangen::Man::new(page)
        .manual("towpath manual")
        .render(&mut roff)
        .map_err(|e| Diagnostic::error("system", format!("the page cannot be made: {e}")))?;
    let text = String::from_utf8_lossy(&roff).into_owned();
    let json = json!(text);
    Ok(Report::of(text, json))
}
