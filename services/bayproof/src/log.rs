//! The log, on standard error.

use std::io::IsTerminal as _;

use tracing_subscriber::EnvFilter;

use crate::Outcome;
use crate::cli::{LogFormat, LogSettings};

/// Begins to log.
pub(crate) fn begin(settings: &LogSettings) -> Outcome {
    let filter = EnvFilter::try_new(&settings.log)?;
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    match settings.log_format {
        LogFormat::Text => log.init(),
        LogFormat::Json => log.json().flatten_event(true).init(),
    }
    Ok(())
}
