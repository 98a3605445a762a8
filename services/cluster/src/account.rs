//! The user that PostgreSQL runs as: it refuses to run as root.

use std::ffi::OsStr;
use std::fs::DirBuilder;
use std::os::unix::fs::{DirBuilderExt, MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::Command;

use crate::ClusterError;

/// Ourselves, or an unprivileged user when we are root.
#[derive(Debug, Clone)]
pub(crate) struct Account {
    name: String,
    uid: u32,
    gid: u32,
    other: bool,
}

impl Account {
    pub(crate) fn find() -> Result<Self, ClusterError> {
        let (uid, gid) = (rustix::process::geteuid(), rustix::process::getegid());
        if !uid.is_root() {
            let name = uid.as_raw().to_string();
            return Ok(Self { name, uid: uid.as_raw(), gid: gid.as_raw(), other: false });
        }
        ["postgres", "nobody"].into_iter().find_map(named).ok_or(ClusterError::NoUser)
    }

    /// A command that runs as this user, in `folder`, without anything of the caller's
    /// environment that speaks of a PostgreSQL.
    pub(crate) fn command(&self, program: impl AsRef<OsStr>, folder: &Path) -> Command {
        let mut command = Command::new(program);
        command.current_dir(folder).env("LC_ALL", "C");
        for (name, _) in std::env::vars_os() {
            if name.to_string_lossy().starts_with("PG") {
                command.env_remove(name);
            }
        }
        if self.other {
            command.uid(self.uid).gid(self.gid); // also drops root's further groups
        }
        command
    }

    /// Makes the folder, if it isn't there, readable to this user alone.
    pub(crate) fn make_private(&self, folder: &Path) -> Result<(), ClusterError> {
        let doing = || format!("make the folder {}", folder.display());
        match DirBuilder::new().mode(0o700).create(folder) {
            Ok(()) if self.other => {
                chown(folder, Some(self.uid), Some(self.gid)).map_err(ClusterError::io(doing()))?;
            }
            Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => {
                return Err(ClusterError::io(doing())(error));
            }
            _ => {}
        }
        // Not followed if it is a link: somebody else may have put it there.
        let found = std::fs::symlink_metadata(folder).map_err(ClusterError::io(doing()))?;
        if !found.is_dir() || found.uid() != self.uid {
            return Err(ClusterError::Foreign(folder.to_owned()));
        }
        let private = std::fs::Permissions::from_mode(0o700);
        std::fs::set_permissions(folder, private).map_err(ClusterError::io(doing()))?;
        let entered = self.command("test", Path::new("/")).arg("-x").arg(folder).status();
        if entered.map_err(ClusterError::io("run `test`"))?.success() {
            return Ok(());
        }
        Err(ClusterError::Closed { folder: folder.to_owned(), user: self.name.clone() })
    }

    pub(crate) fn uid(&self) -> u32 {
        self.uid
    }
}

/// Asked of `id`, since users need not stand in a file.
fn named(name: &str) -> Option<Account> {
    let number = |flag| {
        let said = Command::new("id").args([flag, name]).output().ok()?;
        String::from_utf8_lossy(&said.stdout).trim().parse().ok()
    };
    Some(Account { name: name.into(), uid: number("-u")?, gid: number("-g")?, other: true })
}
