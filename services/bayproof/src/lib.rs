//! What the one binary does: commands, settings, wiring, and the duties beside the requests. A library, so that the
//! acceptance tests run the same duties.

mod catalogue;
mod cli;
mod database;
mod demo;
mod derive;
mod documents;
pub mod duties;
pub mod flags;
mod keys;
mod log;
mod plan;
mod serve;
mod shop;
mod token;

use std::error::Error;
use std::process::ExitCode;

use clap::Parser as _;

use crate::cli::{CatalogueCommand, Cli, Command, ShopCommand};

/// Deriving, judging and reading catalogues make much that is small and lives briefly.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// What a command ends with; the error is for the person at the keyboard.
type Outcome<T = ()> = Result<T, Box<dyn Error>>;

/// Does what the command line says.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let outcome = match cli.command {
        Command::Serve(settings) => serve::run(&settings),
        Command::Demo(settings) => demo::run(&settings),
        Command::Token(settings) => token::run(&settings),
        Command::Shop { command: ShopCommand::Add(settings) } => shop::add(&settings),
        Command::Derive(settings) => derive::run(&settings),
        Command::Plan(settings) => plan::run(&settings),
        Command::Catalogue { command: CatalogueCommand::Check { file } } => catalogue::check(&file),
        Command::Openapi => openapi(),
        Command::Flags => documents::print(&flags::table()),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let mut line = format!("bayproof: {error}");
            let mut source = error.source();
            while let Some(cause) = source {
                let cause_text = cause.to_string();
                if !line.ends_with(&cause_text) {
                    line = format!("{line}: {cause_text}");
                }
                source = cause.source();
            }
            eprintln!("{line}");
            ExitCode::FAILURE
        }
    }
}

fn openapi() -> Outcome {
    documents::print(&api::document().to_pretty_json()?)
}
