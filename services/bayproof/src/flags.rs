//! The table of flags and environment variables, made from the flags themselves.

use std::fmt::Write as _;

use clap::{Command, CommandFactory as _};

use crate::cli::Cli;

/// A Markdown table: command, flag, variable, what stands without it, what it does.
pub fn table() -> String {
    let mut table = String::from(
        "| command | flag | environment | without it | what it does |\n|---|---|---|---|---|\n",
    );
    rows(&Cli::command(), "", &mut table);
    table
}

fn rows(command: &Command, above: &str, table: &mut String) {
    for below in command.get_subcommands().filter(|below| !below.is_hide_set()) {
        let name = format!("{above} {}", below.get_name());
        for flag in below.get_arguments().filter(|flag| flag.get_env().is_some()) {
            let long = flag.get_long().unwrap_or_default();
            let value = flag.get_value_names().filter(|_| flag.get_action().takes_values());
            let value =
                value.and_then(|names| names.first()).map_or(String::new(), |n| format!(" {n}"));
            let variable = flag.get_env().unwrap_or_default().to_string_lossy();
            let default = flag.get_default_values().first();
            let default = default.filter(|_| flag.get_action().takes_values());
            let default = default.map_or(String::new(), |it| format!("`{}`", it.to_string_lossy()));
            let help = flag.get_help().map(ToString::to_string).unwrap_or_default();
            let _ = writeln!(
                table,
                "| `{}` | `--{long}{value}` | `{variable}` | {default} | {help} |",
                name.trim()
            );
        }
        rows(below, &name, table);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flag_has_a_variable_and_says_what_it_does() {
        fn look(command: &Command) {
            for flag in command.get_arguments().filter(|flag| flag.get_long().is_some()) {
                let name = flag.get_id();
                if ["help", "version"].contains(&name.as_str()) {
                    continue;
                }
                let variable =
                    flag.get_env().map(|variable| variable.to_string_lossy().into_owned());
                assert!(
                    variable.is_some_and(|variable| variable.starts_with("BAYPROOF_")),
                    "{name} has no variable"
                );
                assert!(flag.get_help().is_some(), "{name} has no help");
            }
            command.get_subcommands().for_each(look);
        }
        Cli::command().debug_assert();
        look(&Cli::command());
    }

    #[test]
    fn the_readme_has_the_table_as_it_is() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../README.md");
        if let Ok(readme) = std::fs::read_to_string(path) {
            assert!(readme.contains(&table()), "put this into README.md:\n{}", table());
        }
    }
}
