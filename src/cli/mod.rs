//! The command line: arguments in, text and an exit status out. The only place
//! that prints.

mod console;
mod estimate;
mod explain;
mod kit;
mod manual;
mod new;
mod picture;
mod plan;
mod profiles;
mod schema;
mod show;
mod verify;
mod watch;

use crate::diagnostic::{Diagnostic, Faults, Notes, Outcome, codes};
use crate::files;
use crate::job::builtin::{self, BuiltIn};
use clap::{Args, CommandFactory as _, Parser, Subcommand, ValueEnum};
use console::Console;
use serde_json::{Value, json};
use std::ffi::OsString;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Plans continuous-fibre thermoplastic preforms: an outline and a reinforcement
/// map become a program for a printer with a matrix head and a fibre head.
///
/// Lengths are mm, times s, temperatures degC, angles degrees counter-clockwise
/// from +x. Exit status: 0 done, 1 the job, part, profile or program is at fault, 2 it
/// could not run.
#[derive(Debug, Parser)]
#[command(name = "towpath", version, max_term_width = 100, arg_required_else_help = true)]
struct Cli {
    #[command(flatten)]
    general: General,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Args)]
struct General {
    /// Print results as JSON; faults too, as `{"errors": […], "warnings": […]}`
    #[arg(long, global = true)]
    json: bool,
    /// Say nothing but errors and, with --json, the result
    #[arg(short, long, global = true)]
    quiet: bool,
    /// Colour in messages; auto also honours NO_COLOR
    #[arg(long, global = true, value_enum, value_name = "WHEN", default_value_t = Colour::Auto)]
    color: Colour,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Colour {
    /// On a terminal
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Turn a job into a program: NAME.gcode, NAME.plan.json and NAME.report.html
    Plan(plan::Arguments),
    /// Figures of a job, or of several, without writing files; with --quantity
    /// the machines, material and cost of a series at your rates
    Estimate(estimate::Arguments),
    /// Begin a job: NAME.toml, NAME.map.toml and NAME.svg, a small link to change
    New(new::Arguments),
    /// Draw a layer as it will be laid, or all of them: .svg or .png
    Picture(picture::Arguments),
    /// Check a program: what the printer, and the plan if given, decide about it
    Verify(verify::Arguments),
    /// Printer profiles: those built in, and a check for your own
    #[command(subcommand)]
    Printer(Printer),
    /// Matrices and tows: those built in, and a check for your own
    #[command(subcommand)]
    Material(Material),
    /// JSON Schema of a file, for editors
    Schema {
        /// Which file
        #[arg(value_enum)]
        what: schema::What,
    },
    /// Explain a diagnostic in full, or list all of them
    Explain {
        /// The word in brackets of a message, as `unknown-key`; without it all are listed
        code: Option<String>,
    },
    /// Completions for a shell, on stdout
    Completions {
        /// Which shell
        #[arg(value_enum)]
        shell: clap_complete::Shell,
    },
    /// The manual page, on stdout: of towpath, or of one of its commands
    Manual {
        /// A command, as `estimate`
        command: Option<String>,
    },
}

#[derive(Debug, Subcommand)]
enum Printer {
    /// The profiles that are built in
    List,
    /// A built-in profile as TOML: a start for one of your own
    Show {
        /// As in `printer list`
        name: String,
    },
    /// Check a profile: keys, ranges, geometry, blocks; shows a small program made from it
    Check {
        /// A .toml
        file: PathBuf,
    },
    /// A profile to fill in: every key with unit, meaning, range and how to measure it
    New(kit::New),
    /// Machine trials as programs, and a sheet of what to measure and where it goes
    Trial(kit::Trial),
    /// Fit head change, block time and accelerations to programs that were timed
    Fit(kit::Fit),
}

#[derive(Debug, Subcommand)]
enum Material {
    /// The matrices and tows that are built in
    List,
    /// A built-in material as TOML: a start for one of your own
    Show {
        /// As in `material list`
        name: String,
    },
    /// Check a matrix or tow file
    Check {
        /// A .toml
        file: PathBuf,
    },
}

/// What a command has to print.
struct Report {
    /// For people.
    text: String,
    /// For programs.
    json: Value,
    /// `--quiet` leaves it out: it only says that all went well.
    only_tells: bool,
    /// Exit status: something may be at fault although there is a result.
    status: u8,
}

impl Report {
    /// Something that was asked for.
    fn of(text: impl Into<String>, json: Value) -> Self {
        Self { text: text.into(), json, only_tells: false, status: 0 }
    }

    /// Something worth knowing after work is done.
    fn telling(text: impl Into<String>, json: Value) -> Self {
        Self { text: text.into(), json, only_tells: true, status: 0 }
    }
}

/// It could not run: nothing is said about the job.
const COULD_NOT_RUN: u8 = 2;

/// The job, part, profile or program is at fault.
const AT_FAULT: u8 = 1;

/// Codes of faults that keep towpath from running at all.
const NOT_RUN: &[&str] = &[
    "fit-pairs",
    "input-missing",
    "input-unreadable",
    "output-exists",
    "output-unwritable",
    "picture-name",
    "system",
];

/// Runs a command line, the program's own name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    console::explain_panics();
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    match std::panic::catch_unwind(|| command(&arguments)) {
        Ok(status) => ExitCode::from(status),
        // the hook has told what happened
        Err(_) => ExitCode::from(COULD_NOT_RUN),
    }
}

fn command(arguments: &[OsString]) -> u8 {
    let cli = match Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(e) => {
            let printed = e.print();
            if !e.use_stderr() {
                // help and version are no errors, and a closed pipe is none
                let closed = |e: &std::io::Error| e.kind() == std::io::ErrorKind::BrokenPipe;
                let lost = printed.err().is_some_and(|e| !closed(&e));
                return if lost { COULD_NOT_RUN } else { 0 };
            }
            // nothing was read: whether JSON is asked for is seen by its name alone
            if arguments.iter().any(|a| a == "--json") {
                let faults = Faults(vec![wrong_words(&e.to_string())]);
                let console = Console::new(Colour::Never, true);
                let _ = console.out(&json_text(&faults_json(&faults, &Notes::default())));
            }
            return COULD_NOT_RUN;
        }
    };
    let console = Console::new(cli.general.color, cli.general.quiet);
    let mut notes = Notes::default();
    let outcome = dispatch(&cli, &console, &mut notes);
    finish(&console, cli.as_json(), &notes, outcome)
}

/// A wrong command line as the parser tells it: what is wrong up to the first blank line, then
/// tips and how to write it.
fn wrong_words(told: &str) -> Diagnostic {
    let mut lines = told.lines().map(str::trim);
    let wrong: Vec<&str> = lines.by_ref().take_while(|l| !l.is_empty()).collect();
    let message = wrong.join(" ");
    let d = Diagnostic::error("command-line", message.trim_start_matches("error: "));
    lines.filter_map(|l| l.strip_prefix("tip: ")).fold(d, Diagnostic::help)
}

impl Cli {
    /// Results and faults are to be JSON, by either of the two ways to ask for it.
    fn as_json(&self) -> bool {
        let format = matches!(&self.command, Command::Estimate(arguments) if arguments.as_json());
        self.general.json || format
    }
}

fn dispatch(cli: &Cli, console: &Console, notes: &mut Notes) -> Outcome<Report> {
    let as_json = cli.as_json();
    match &cli.command {
        Command::Plan(arguments) if arguments.watch => {
            watch::plan(arguments, console, as_json);
            Ok(Report::telling("", Value::Null))
        }
        Command::Plan(arguments) => plan::run(arguments, console, notes),
        Command::Estimate(arguments) => estimate::run(arguments, as_json, console, notes),
        Command::New(arguments) => new::run(arguments),
        Command::Manual { command } => manual::report(command.as_deref()),
        Command::Picture(arguments) => picture::run(arguments, console, notes),
        Command::Verify(arguments) => verify::run(arguments, console),
        Command::Printer(Printer::List) => Ok(profiles::printers()),
        Command::Printer(Printer::Show { name }) => profiles::show_printer(name),
        Command::Printer(Printer::Check { file }) => kit::check(file, notes),
        Command::Printer(Printer::New(arguments)) => kit::new(arguments),
        Command::Printer(Printer::Trial(arguments)) => kit::trials(arguments, notes),
        Command::Printer(Printer::Fit(arguments)) => kit::fitted(arguments),
        Command::Material(Material::List) => Ok(profiles::materials()),
        Command::Material(Material::Show { name }) => profiles::show_material(name),
        Command::Material(Material::Check { file }) => profiles::check_material(file),
        Command::Schema { what } => Ok(schema::report(*what)),
        Command::Explain { code: Some(code) } => explain::report(code),
        Command::Explain { code: None } => Ok(explain::all()),
        Command::Completions { shell } => Ok(completions(*shell)),
    }
}

/// Told before the work where its output cannot be written.
///
/// Errors: `output-unwritable`.
fn writable(what: &str, folder: &Path) -> Outcome<()> {
    Ok(files::writable(folder).map_err(|e| unwritable(what, folder, &e))?)
}

/// Why files cannot be written to a folder, and the next step.
fn unwritable(what: &str, folder: &Path, e: &std::io::Error) -> Diagnostic {
    let folder = folder.display();
    let message = format!("the {what} cannot be written to `{folder}`: {}", files::why(e));
    Diagnostic::error("output-unwritable", message).in_file(folder.to_string()).help(elsewhere(e))
}

/// The next step where an output cannot be written.
fn elsewhere(e: &std::io::Error) -> &'static str {
    if e.kind() == std::io::ErrorKind::StorageFull {
        "free space on the disk, or choose another folder with --out"
    } else {
        "choose another folder with --out"
    }
}

/// Puts the job's path, as it was typed, into what warnings tell to type: outputs hold only its
/// name.
fn with_path(notes: &mut Notes, job: &Path) {
    let name = job.file_name().unwrap_or_default().to_string_lossy();
    let [plain, whole] = [name, job.to_string_lossy()].map(|job| format!("`towpath picture {job} "));
    for help in notes.warnings.iter_mut().flat_map(|d| &mut d.help) {
        *help = help.replace(&plain, &whole);
    }
}

/// A number of threads as typed.
fn thread_count(typed: &str) -> Result<NonZeroUsize, String> {
    typed.parse().map_err(|_| "give a whole number of threads, 1 or more".to_owned())
}

/// Threads to work in: as many as asked for, else one for each core.
fn threads(asked: Option<NonZeroUsize>) -> Outcome<rayon::ThreadPool> {
    // more threads than this only wait for each other
    let threads = asked.map_or(0, |n| n.get().min(MOST_THREADS));
    Ok(rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .map_err(|e| Diagnostic::error("system", format!("{threads} threads cannot be started: {e}")))?)
}

/// More than any machine on a desk has.
const MOST_THREADS: usize = 256;

fn completions(shell: clap_complete::Shell) -> Report {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "towpath", &mut script);
    let mut script = String::from_utf8_lossy(&script).into_owned();
    if shell == clap_complete::Shell::Fish {
        script.push_str(&fish_words());
    }
    let json = json!(script);
    Report::of(script, json)
}

/// What else fish completes: words behind a command, which the generator knows for flags alone.
fn fish_words() -> String {
    fn of<E: ValueEnum>() -> Vec<String> {
        E::value_variants()
            .iter()
            .filter_map(|v| Some(v.to_possible_value()?.get_name().to_owned()))
            .collect()
    }
    let named = |lists: &[&'static [BuiltIn]]| -> Vec<String> {
        lists.iter().flat_map(|l| builtin::names(l)).map(str::to_owned).collect()
    };
    let below = |command: &str, inner: &str| {
        format!("__fish_towpath_using_subcommand {command}; and __fish_seen_subcommand_from {inner}")
    };
    let codes = codes::ALL.iter().map(|c| c.name.to_owned()).collect();
    let all: [(String, Vec<String>); 5] = [
        ("__fish_towpath_using_subcommand schema".to_owned(), of::<schema::What>()),
        ("__fish_towpath_using_subcommand completions".to_owned(), of::<clap_complete::Shell>()),
        ("__fish_towpath_using_subcommand explain".to_owned(), codes),
        (below("printer", "show"), named(&[builtin::PRINTERS])),
        (below("material", "show"), named(&[builtin::MATRICES, builtin::TOWS])),
    ];
    let line = |(when, words): &(String, Vec<String>)| {
        format!("complete -c towpath -n \"{when}\" -f -a \"{}\"\n", words.join(" "))
    };
    all.iter().map(line).collect()
}

/// Prints what there is to print; gives the exit status.
fn finish(console: &Console, as_json: bool, notes: &Notes, outcome: Outcome<Report>) -> u8 {
    console.warnings(&notes.warnings);
    let (printed, status) = match outcome {
        Ok(report) => {
            let wanted = as_json || !(report.only_tells && console.quiet());
            let text = if as_json { json_text(&report.json) } else { report.text };
            (wanted.then_some(text), report.status)
        }
        Err(faults) => {
            console.errors(&faults.0);
            let text = as_json.then(|| json_text(&faults_json(&faults, notes)));
            (text, status_of(&faults))
        }
    };
    match printed.map_or(Ok(()), |text| console.out(&text)) {
        Ok(()) => status,
        Err(e) => {
            console
                .errors(&[Diagnostic::error("output-unwritable", format!("stdout cannot be written: {e}"))]);
            COULD_NOT_RUN
        }
    }
}

fn status_of(faults: &Faults) -> u8 {
    if faults.0.iter().any(|d| NOT_RUN.contains(&d.code)) { COULD_NOT_RUN } else { AT_FAULT }
}

fn faults_json(faults: &Faults, notes: &Notes) -> Value {
    json!({
        "errors": faults.0.iter().map(show::json).collect::<Vec<_>>(),
        "warnings": notes.warnings.iter().map(show::json).collect::<Vec<_>>(),
    })
}

fn json_text(value: &Value) -> String {
    format!("{value:#}\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }
}
