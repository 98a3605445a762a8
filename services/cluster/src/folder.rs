//! The folder of a private PostgreSQL: its lock, its data, its socket.

use std::fs::{self, File, TryLockError};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{Read, Seek, Write};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use crate::ClusterError;
use crate::account::Account;
use crate::address::{Address, SOCKET};

/// Systems allow 104 to 108 bytes for a socket's path.
const LONGEST_SOCKET: usize = 100;

/// `$BAYPROOF_DATA`, or `$XDG_DATA_HOME/bayproof`, or `~/.local/share/bayproof`. For root without
/// the first two it is `/var/lib/bayproof`, since root's home is closed to PostgreSQL's user.
pub fn default_folder() -> Result<PathBuf, ClusterError> {
    let named = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    if let Some(folder) = named("BAYPROOF_DATA") {
        return std::path::absolute(folder).map_err(ClusterError::io("read BAYPROOF_DATA"));
    }
    if let Some(folder) = named("XDG_DATA_HOME").filter(|folder| folder.is_absolute()) {
        return Ok(folder.join("bayproof"));
    }
    if rustix::process::geteuid().is_root() {
        return Ok("/var/lib/bayproof".into());
    }
    named("HOME").map(|home| home.join(".local/share/bayproof")).ok_or(ClusterError::NoFolder)
}

/// A folder that this process alone uses, for as long as this value lives.
#[derive(Debug)]
pub(crate) struct Folder {
    pub(crate) path: PathBuf,
    _lock: File,
    throwaway: bool,
}

impl Folder {
    /// Makes the folder if need be and locks it. The lock ends with the process, however it ends.
    pub(crate) fn open(path: &Path) -> Result<Self, ClusterError> {
        let doing = || format!("use the folder {}", path.display());
        fs::create_dir_all(path).map_err(ClusterError::io(doing()))?;
        let path = path.canonicalize().map_err(ClusterError::io(doing()))?;
        let mut lock = lock_file(&path.join("lock")).map_err(ClusterError::io(doing()))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::Error(error)) => return Err(ClusterError::io(doing())(error)),
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                lock.read_to_string(&mut holder).map_err(ClusterError::io(doing()))?;
                return Err(ClusterError::InUse { folder: path, holder });
            }
        }
        let note = |lock: &mut File| {
            lock.set_len(0)?;
            lock.rewind()?;
            write!(lock, "{}", std::process::id())
        };
        note(&mut lock).map_err(ClusterError::io(doing()))?;
        Ok(Self { path, _lock: lock, throwaway: false })
    }

    /// A new folder below the system's temporary one, removed when this value is dropped. Those
    /// that killed processes left behind are removed now.
    pub(crate) fn throwaway(account: &Account) -> Result<Self, ClusterError> {
        let uid = rustix::process::geteuid().as_raw();
        let parent = std::env::temp_dir().join(format!("bayproof-throwaway-{uid}"));
        let doing = || format!("use the folder {}", parent.display());
        fs::create_dir_all(&parent).map_err(ClusterError::io(doing()))?;
        let found = fs::symlink_metadata(&parent).map_err(ClusterError::io(doing()))?;
        if !found.is_dir() || found.uid() != uid {
            return Err(ClusterError::Foreign(parent));
        }
        // Held while folders are made and removed, so that nobody removes one not yet locked.
        let turn = lock_file(&parent.join("turn")).map_err(ClusterError::io(doing()))?;
        turn.lock().map_err(ClusterError::io(doing()))?;
        for left in fs::read_dir(&parent).map_err(ClusterError::io(doing()))?.flatten() {
            if left.path().is_dir()
                && let Ok(mut folder) = Self::open(&left.path())
            {
                let address = address(&folder.path, account);
                folder.throwaway = stop_orphan(&folder.data(), &address).is_ok();
            }
        }
        let mut names = (0..).map(|n| parent.join(format!("{}-{n}", std::process::id())));
        let path = names.find(|path| !path.exists()).expect("there is always another number");
        let mut folder = Self::open(&path)?;
        folder.throwaway = true;
        Ok(folder)
    }

    /// What belongs to PostgreSQL's user.
    pub(crate) fn private(&self) -> PathBuf {
        self.path.join("postgres")
    }

    pub(crate) fn data(&self) -> PathBuf {
        self.private().join("data")
    }

    pub(crate) fn log(&self) -> PathBuf {
        self.path.join("postgres.log")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if self.throwaway
            && let Err(error) = fs::remove_dir_all(&self.path)
        {
            tracing::warn!(folder = %self.path.display(), %error, "not removed");
        }
    }
}

/// Where the socket of the cluster in `folder` is: inside, or in a short folder if that is too
/// long for a socket's path. Both are of mode 0700.
pub(crate) fn address(folder: &Path, account: &Account) -> Address {
    let inside = folder.join("postgres/sockets");
    if inside.join(SOCKET).as_os_str().len() <= LONGEST_SOCKET {
        return Address { sockets: inside };
    }
    let mut hash = DefaultHasher::new();
    folder.hash(&mut hash);
    let short = format!("/tmp/bayproof-{}-{:016x}", account.uid(), hash.finish());
    Address { sockets: short.into() }
}

/// Makes `postmaster.pid` tell the truth, which only the holder of the folder's lock may: a server
/// that outlived its process is stopped, and the note of a dead one is removed even if another
/// program has its pid by now (PostgreSQL itself would refuse to start then).
pub(crate) fn stop_orphan(data: &Path, address: &Address) -> Result<(), ClusterError> {
    let note = data.join("postmaster.pid");
    let Ok(text) = fs::read_to_string(&note) else { return Ok(()) };
    let pid = text.lines().next().and_then(|line| line.trim().parse().ok());
    let pid = pid.and_then(rustix::process::Pid::from_raw);
    if let Some(pid) = pid.filter(|pid| serves(pid.as_raw_nonzero().get(), data)) {
        tracing::warn!(pid = pid.as_raw_nonzero().get(), "stopping a PostgreSQL left by a crash");
        // Refused only if it ended in this moment.
        let _ = rustix::process::kill_process(pid, rustix::process::Signal::INT);
        for _ in 0..600 {
            if !serves(pid.as_raw_nonzero().get(), data) {
                break;
            }
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    }
    for left in [note, address.sockets().join(format!("{SOCKET}.lock"))] {
        if let Err(error) = fs::remove_file(&left)
            && error.kind() != std::io::ErrorKind::NotFound
        {
            return Err(ClusterError::io(format!("remove {}", left.display()))(error));
        }
    }
    Ok(())
}

/// Whether the process is a postmaster of this data: its command line names the folder.
fn serves(pid: i32, data: &Path) -> bool {
    let line = fs::read(format!("/proc/{pid}/cmdline")).or_else(|_| {
        let mut ps = std::process::Command::new("ps");
        ps.args(["-o", "command=", "-p", &pid.to_string()]).output().map(|said| said.stdout)
    });
    let data = data.as_os_str().as_encoded_bytes();
    line.is_ok_and(|line| line.windows(data.len()).any(|part| part == data))
}

fn lock_file(path: &Path) -> std::io::Result<File> {
    File::options().read(true).write(true).create(true).truncate(false).open(path)
}
