//! Shell completions and the manual page.

use clap::CommandFactory;

use super::{Arguments, Ending, Failure, output};

/// Print completions for a shell
///
/// Example: saddleroom completions bash > ~/.local/share/bash-completion/completions/saddleroom
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct CompletionsArgs {
    /// The shell
    #[arg(value_enum)]
    shell: clap_complete::Shell,
}

/// Print the manual page
///
/// Example: saddleroom manual | man -l -
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct ManualArgs {}

pub(super) fn completions(args: &CompletionsArgs) -> Result<Ending, Failure> {
    let mut bytes = Vec::new();
    clap_complete::generate(args.shell, &mut Arguments::command(), "saddleroom", &mut bytes);
    output::print(&String::from_utf8_lossy(&bytes))?;
    Ok(Ending::FINE)
}

pub(super) fn run() -> Result<Ending, Failure> {
    let mut bytes = Vec::new();
    let mut command = Arguments::command();
    command.build();
    let mut page = |c: clap::Command| {
        clap_mangen::Man::new(c)
            .render(&mut bytes)
            .map_err(|e| Failure::new(format!("cannot make the manual page: {e}"), "use --help"))
    };
    page(command.clone())?;
    for sub in command.get_subcommands() {
        page(sub.clone())?;
    }
    output::print(&String::from_utf8_lossy(&bytes))?;
    Ok(Ending::FINE)
}
