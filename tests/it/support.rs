//! What several tests share.

#![allow(clippy::unwrap_used)]

use lightloss::simulate::files::write_all;
use lightloss::write::dng::Compression;
use lightloss_planted::small_session;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// The program with a kit that holds nothing: what whoever runs the tests keeps in theirs is not to
/// be measured with.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lightloss"));
    command.env("LIGHTLOSS_KIT", NO_KIT);
    command
}

/// Status, standard output, standard error of a command that was run to its end.
pub fn told(command: &mut Command) -> (i32, String, String) {
    let output = command.output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// Somebody with a folder and a kit in it.
pub struct Person {
    pub home: tempfile::TempDir,
}

impl Person {
    pub fn new() -> Self {
        Self { home: tempfile::tempdir().unwrap() }
    }
    pub fn kit(&self) -> PathBuf {
        self.home.path().join("kit")
    }
    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = program();
        command.args(words).env("LIGHTLOSS_KIT", self.kit()).current_dir(self.home.path());
        command
    }
    /// Status, standard output, standard error.
    pub fn run(&self, words: &[&str]) -> (i32, String, String) {
        told(&mut self.command(words))
    }
}

/// A place that no test makes.
pub const NO_KIT: &str = concat!(env!("CARGO_TARGET_TMPDIR"), "/no-kit");

/// Six small frames of a filter of six stops: bare, filtered, bare.
pub fn small_shoot(folder: &Path) {
    std::fs::create_dir_all(folder).unwrap();
    let (session, shots) = small_session::shoot();
    write_all(&session, &session.take(&shots), folder, Compression::None, false).unwrap();
}

/// Runs a command to its end; one that takes longer fails the test.
pub fn within(command: &mut Command, patience: Duration) -> Output {
    let mut child =
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let began = Instant::now();
    let (mut out, mut err) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
    let read = |from: &mut dyn std::io::Read| {
        let mut bytes = Vec::new();
        from.read_to_end(&mut bytes).unwrap();
        bytes
    };
    std::thread::scope(|scope| {
        let stdout = scope.spawn(move || read(&mut out));
        let stderr = scope.spawn(move || read(&mut err));
        let status = loop {
            if let Some(status) = child.try_wait().unwrap() {
                break status;
            }
            if began.elapsed() > patience {
                child.kill().unwrap();
                panic!("not done after {} s: {command:?}", patience.as_secs());
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        Output { status, stdout: stdout.join().unwrap(), stderr: stderr.join().unwrap() }
    })
}

/// A file system of this many kilobytes, gone when dropped; `None` where none can be mounted.
pub struct SmallDisk(pub PathBuf);

impl SmallDisk {
    /// Mounts it.
    pub fn mounted(at: PathBuf, kilobytes: u32) -> Option<Self> {
        std::fs::create_dir(&at).unwrap();
        let size = format!("size={kilobytes}k");
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &size, "tmpfs"])
            .arg(&at)
            .stderr(Stdio::null())
            .status();
        done.is_ok_and(|s| s.success()).then_some(Self(at))
    }
    /// From now on nothing can be written.
    pub fn read_only(&self) {
        let remount = ["-o", "remount,ro"];
        assert!(Command::new("mount").args(remount).arg(&self.0).status().unwrap().success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}
