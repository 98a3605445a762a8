//! Making a new cluster.

use std::fs;
use std::io::Write;
use std::process::{Command, Stdio};

use crate::account::Account;
use crate::folder::Folder;
use crate::programs::Programs;
use crate::{ClusterError, Role};

/// Makes the cluster in the folder, unless it is there.
pub(crate) fn make(
    folder: &Folder,
    programs: &Programs,
    account: &Account,
    durable: bool,
) -> Result<(), ClusterError> {
    let data = folder.data();
    if data.join("PG_VERSION").exists() {
        return Ok(());
    }
    // Made beside and then renamed: one that was interrupted half-way is not taken for a cluster.
    let begun = folder.private().join("begun");
    if begun.exists() {
        fs::remove_dir_all(&begun).map_err(ClusterError::io("remove a half-made cluster"))?;
    }
    let mut initdb = account.command(programs.path("initdb"), &folder.private());
    initdb.arg("-D").arg(&begun).args(["-U", Role::Superuser.name(), "--data-checksums"]);
    initdb.args(["--encoding=UTF8", "--locale=C", "--auth-local=trust", "--auth-host=reject"]);
    if !durable {
        initdb.arg("--no-sync");
    }
    run(initdb, "")?;
    fs::rename(&begun, &data).map_err(ClusterError::io("name the new cluster"))
}

/// Runs a program to its end.
pub(crate) fn run(mut command: Command, input: &str) -> Result<(), ClusterError> {
    let program = command.get_program().to_string_lossy().into_owned();
    let doing = || format!("run {program}");
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().map_err(ClusterError::io(doing()))?;
    // Dropped at once, so that the program sees the end. A refusal shows in its status.
    let _ = child.stdin.take().map(|mut stdin| stdin.write_all(input.as_bytes()));
    let ended = child.wait_with_output().map_err(ClusterError::io(doing()))?;
    if ended.status.success() {
        return Ok(());
    }
    let output = String::from_utf8_lossy(&ended.stderr).trim().to_owned();
    Err(ClusterError::Failed { program, output })
}
