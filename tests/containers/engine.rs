//! What the tests need from the machine.

use std::path::{Path, PathBuf};
use std::process::Command;

/// A container engine, the images to start from and a built `bayproof`.
#[derive(Clone)]
pub(crate) struct Engine {
    /// The image with PostgreSQL: `BAYPROOF_TEST_POSTGRES_IMAGE`, or the official one.
    pub(crate) postgres: String,
    /// The image that the service's is built on: `BAYPROOF_TEST_RUNTIME_IMAGE`, or a plain Debian.
    pub(crate) runtime: String,
    /// The program: `BAYPROOF_TEST_BINARY`, or the newest of this target folder.
    pub(crate) binary: PathBuf,
}

impl Engine {
    /// All of it, or what is missing, for reading.
    pub(crate) fn find() -> Result<Self, String> {
        run(Command::new("docker").arg("version")).map_err(|_| "no container engine".to_owned())?;
        let named = |name, otherwise: &str| std::env::var(name).unwrap_or(otherwise.to_owned());
        let engine = Self {
            postgres: named("BAYPROOF_TEST_POSTGRES_IMAGE", "postgres:17"),
            runtime: named("BAYPROOF_TEST_RUNTIME_IMAGE", "debian:trixie-slim"),
            binary: binary().ok_or("no built program: run `cargo build -p bayproof`")?,
        };
        for image in [&engine.postgres, &engine.runtime] {
            run(Command::new("docker").args(["image", "inspect", image]))
                .or_else(|_| run(Command::new("docker").args(["pull", image])))
                .map_err(|_| format!("no image {image}, and it can't be fetched"))?;
        }
        Ok(engine)
    }

    /// An image and its tag.
    pub(crate) fn postgres_parts(&self) -> (&str, &str) {
        let tagged = self.postgres.rsplit_once(':').filter(|(_, tag)| !tag.contains('/'));
        tagged.unwrap_or((&self.postgres, "latest"))
    }
}

/// The top of the repository.
pub(crate) fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ is inside the repository")
}

/// A port of this machine that is free now.
pub(crate) fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("there is a free port");
    listener.local_addr().expect("is bound").port()
}

/// Runs a program to its end: what it printed, or all that it said when it failed.
pub(crate) fn run(command: &mut Command) -> Result<String, String> {
    let ended = command.output().map_err(|error| format!("{command:?}: {error}"))?;
    let printed = String::from_utf8_lossy(&ended.stdout).trim().to_owned();
    if ended.status.success() {
        return Ok(printed);
    }
    Err(format!("{command:?}: {printed}\n{}", String::from_utf8_lossy(&ended.stderr)))
}

fn binary() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("BAYPROOF_TEST_BINARY") {
        return Some(named.into());
    }
    let target = std::env::current_exe().ok()?.ancestors().nth(3)?.to_owned();
    let built = ["debug", "release"].map(|profile| target.join(profile).join("bayproof"));
    let built = built.into_iter().filter(|path| path.is_file());
    built.max_by_key(|path| path.metadata().and_then(|found| found.modified()).ok())
}
