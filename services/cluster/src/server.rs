//! One run of the server program.

use std::ffi::{OsStr, OsString};
use std::io;
use std::os::unix::process::CommandExt;
use std::process::{Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use crate::ClusterError;

/// How long a start or a stop may take; a start includes the recovery after a crash.
pub(crate) const PATIENCE: Duration = Duration::from_mins(1);

/// A started postmaster. A thread of its own starts it and waits for it: the system's signal for
/// "your parent has died" follows the thread that starts a process, not the whole program.
#[derive(Debug)]
pub(crate) struct Server {
    pid: Pid,
    keeper: JoinHandle<io::Result<ExitStatus>>,
}

impl Server {
    /// Starts the command, which `stoppable` made.
    pub(crate) fn start(mut command: Command) -> Result<Self, ClusterError> {
        let (tell, started) = mpsc::channel();
        let keep = move || {
            let mut child = command.spawn()?;
            // Refused only if nobody waits for it any more.
            let _ = tell.send(child.id());
            drop(tell);
            child.wait()
        };
        let keeper = thread::Builder::new().name("postgres".into()).spawn(keep);
        let keeper = keeper.map_err(ClusterError::io("start a thread"))?;
        let pid = started.recv().ok().and_then(|pid| Pid::from_raw(pid.try_into().ok()?));
        if let Some(pid) = pid {
            return Ok(Self { pid, keeper });
        }
        let ended = keeper.join().map(Result::err).ok().flatten();
        let error = ended.unwrap_or_else(|| io::Error::other("it has no pid"));
        Err(ClusterError::io("start PostgreSQL")(error))
    }

    pub(crate) fn running(&self) -> bool {
        !self.keeper.is_finished()
    }

    /// Sends the signal and waits for the end; false if it didn't come in time.
    pub(crate) fn end(&self, signal: Signal, patience: Duration) -> bool {
        let deadline = Instant::now() + patience;
        if self.running() {
            let _ = kill_process(self.pid, signal); // fails only if it ended in this moment
        }
        while self.running() && Instant::now() < deadline {
            thread::sleep(Duration::from_millis(5));
        }
        !self.running()
    }
}

/// Program and arguments that run `program` so that it is told to stop when we die, where the
/// system has the means (`setpriv` of util-linux).
pub(crate) fn stoppable(program: &OsStr) -> Vec<OsString> {
    let known = Command::new("setpriv").args(["--pdeathsig", "INT", "true"]).output();
    let known = known.is_ok_and(|tried| tried.status.success());
    let setpriv: &[&str] = if known { &["setpriv", "--pdeathsig", "INT", "--"] } else { &[] };
    setpriv.iter().map(OsString::from).chain([program.to_owned()]).collect()
}

/// Away from the terminal: Ctrl-C is for the service, which stops the server when it is done.
pub(crate) fn detach(command: &mut Command, log: std::fs::File) {
    command.process_group(0).stdin(Stdio::null()).stdout(Stdio::null()).stderr(log);
}
