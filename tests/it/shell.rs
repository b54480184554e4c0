//! Manners at the shell: help, version, completions, the manual page, pipes and colour.

#![allow(clippy::unwrap_used, clippy::print_stderr)]

#[path = "../../build.rs"]
mod build;

use super::cli::rendered;
use crate::support::program;
use build::Commit;
use clap::{CommandFactory, Parser};
use lightloss::cli::Cli;
use lightloss::write::dng::Compression;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

const PROGRAM: &str = env!("CARGO_BIN_EXE_lightloss");
const HASH: &str = "0123456789abcdef0123456789abcdef01234567";

fn run(words: &[&str]) -> Output {
    program().args(words).output().unwrap()
}

fn said(words: &[&str]) -> String {
    let output = run(words);
    assert_eq!(output.status.code(), Some(0), "{words:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn commands() -> Vec<String> {
    Cli::command().get_subcommands().map(|c| c.get_name().to_owned()).collect()
}

/// Whether a program of the machine is there; a test that needs one says that it is skipped.
fn have(program: &str) -> bool {
    let there =
        Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    if there.is_err() {
        eprintln!("skipped: there is no {program} here");
    }
    there.is_ok()
}

/// The words of a line as a shell takes them, as far as our examples need one.
fn words(line: &str) -> Vec<String> {
    let line = line.split(" > ").next().unwrap();
    let parts: Vec<&str> = line.split('"').collect();
    let mut words = Vec::new();
    for (i, part) in parts.iter().enumerate() {
        if i % 2 == 1 {
            words.push((*part).to_owned());
        } else {
            words.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    words
}

#[test]
fn every_help_ends_with_one_example_that_is_understood() {
    let commands = commands();
    assert!(commands.len() >= 12, "{commands:?}");
    for command in &commands {
        for flag in ["-h", "--help"] {
            let help = said(&[command, flag]);
            let last = help.trim_end().lines().last().unwrap();
            let example = last.strip_prefix("Example: ").unwrap_or_else(|| panic!("{help}"));
            assert_eq!(help.matches("Example:").count(), 1, "{help}");
            let words = words(example);
            assert_eq!(&words[..2], &["lightloss".to_owned(), command.clone()], "{example}");
            assert!(Cli::try_parse_from(&words).is_ok(), "{example}");
            assert!(help.ends_with('\n'), "{help:?}");
        }
    }
}

#[test]
fn the_version_names_the_commit_of_the_checkout() {
    let package = Path::new(env!("CARGO_MANIFEST_DIR"));
    let said = said(&["--version"]);
    let plain = format!("lightloss {}", env!("CARGO_PKG_VERSION"));
    assert_eq!(run(&["-V"]).stdout, said.as_bytes());
    if !package.join(".git").exists() {
        eprintln!("skipped in part: no git checkout");
        assert!(said.starts_with(&plain), "{said}");
        return;
    }
    let asked = Command::new("git").current_dir(package).args(["rev-parse", "HEAD"]).output();
    let Ok(asked) = asked else {
        eprintln!("skipped: there is no git here");
        return;
    };
    let head = String::from_utf8(asked.stdout).unwrap();
    assert_eq!(said, format!("{plain} ({})\n", &head[..12]));
}

/// A folder with files in it.
fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let home = tempfile::tempdir().unwrap();
    for (name, text) in files {
        let path = home.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    home
}

fn found(files: &[(&str, &str)]) -> (Commit, Vec<String>) {
    let home = folder(files);
    let (commit, watched) = build::commit(home.path());
    let names = watched.iter().map(|path| {
        let path = path.strip_prefix(home.path()).unwrap();
        path.to_string_lossy().into_owned()
    });
    let commit = match commit {
        Commit::Kept(path) => Commit::Kept(path.strip_prefix(home.path()).unwrap().to_owned()),
        other => other,
    };
    (commit, names.collect())
}

#[test]
fn the_commit_is_found_wherever_git_keeps_it() {
    let known = || Commit::Known(HASH.to_owned());
    let line = format!("{HASH}\n");
    let (head, pack) =
        ((".git/HEAD", "ref: refs/heads/main\n"), format!("# pack\n{HASH} refs/heads/main\n"));
    let packed = (".git/packed-refs", pack.as_str());
    let loose = (".git/refs/heads/main", line.as_str());
    assert_eq!(found(&[]), (Commit::Unknown, vec![]));
    assert_eq!(found(&[(".git/HEAD", &line)]), (known(), vec![".git/HEAD".to_owned()]));
    // A branch's own file is the newer one, whatever the pack says.
    let (commit, watched) = found(&[head, loose, (".git/packed-refs", "# pack\n")]);
    assert_eq!(commit, Commit::Kept(PathBuf::from(".git/refs/heads/main")));
    assert_eq!(watched, [".git/HEAD", ".git/packed-refs"]);
    let (commit, watched) = found(&[head, loose]);
    assert_eq!((commit, watched.len()), (known(), 2));
    let (commit, watched) = found(&[head, packed, (".git/refs/heads/other", HASH)]);
    assert_eq!(commit, known());
    assert_eq!(watched, [".git/HEAD", ".git/packed-refs", ".git/refs/heads"]);
    // Before the first commit.
    assert_eq!(found(&[head]).0, Commit::Unknown);
    // A branch whose name only ends alike.
    let other = format!("{HASH} refs/heads/not-main\n");
    assert_eq!(found(&[head, (".git/packed-refs", &other)]).0, Commit::Unknown);
    // A second worktree.
    let worktree = [
        (".git", "gitdir: ../main/.git/worktrees/second\n"),
        ("main/.git/worktrees/second/HEAD", "ref: refs/heads/second\n"),
        ("main/.git/worktrees/second/commondir", "../..\n"),
        ("main/.git/refs/heads/second", line.as_str()),
    ];
    let home = folder(&worktree[1..]);
    fs::create_dir(home.path().join("second")).unwrap();
    fs::write(home.path().join("second/.git"), worktree[0].1).unwrap();
    assert_eq!(build::commit(&home.path().join("second")).0, known());
    // A published package.
    let note = format!("{{\n  \"git\": {{\n    \"sha1\": \"{HASH}\"\n  }}\n}}");
    assert_eq!(found(&[(".cargo_vcs_info.json", &note)]), (known(), vec![]));
}

#[test]
fn completions_complete() {
    let scripts = [
        ("bash", "complete -F"),
        ("elvish", "edit:completion"),
        ("fish", "complete -c lightloss"),
        ("powershell", "Register-ArgumentCompleter"),
        ("zsh", "#compdef lightloss"),
    ];
    for (shell, mark) in scripts {
        let script = said(&["completions", shell]);
        assert!(script.contains(mark), "{shell}");
        // Every command but the hidden ones that nobody types twice.
        for command in &commands()[..10] {
            assert!(script.contains(command.as_str()), "{shell}: {command}");
        }
    }
    assert_eq!(run(&["completions", "tin"]).status.code(), Some(2));
    if !have("bash") {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let script = home.path().join("lightloss.bash");
    fs::write(&script, said(&["completions", "bash"])).unwrap();
    let ask = |words: &str, at: usize| {
        let line = format!(
            "source {script:?}; COMP_WORDS=({words}); COMP_CWORD={at}; \
             _lightloss lightloss \"${{COMP_WORDS[{at}]}}\" \"${{COMP_WORDS[{}]}}\"; \
             echo \"${{COMPREPLY[@]}}\"",
            at - 1
        );
        let output = Command::new("bash").args(["-c", &line]).output().unwrap();
        String::from_utf8(output.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(ask("lightloss cor", 1), "correct");
    assert_eq!(ask("lightloss correct --gains", 2), "--gains-only");
    assert_eq!(ask("lightloss plan --kind v", 3), "variable");
}

#[test]
fn the_manual_is_a_page_for_man() {
    let whole = said(&["manual"]);
    assert!(whole.contains(".TH lightloss 1"), "{whole}");
    for command in &commands()[..10] {
        assert!(whole.contains(&format!("lightloss\\-{command}")), "{command}");
    }
    let mut pages = vec![whole];
    for command in Cli::command().get_subcommands() {
        let page = said(&["manual", command.get_name()]);
        assert!(page.contains("Example: lightloss "), "{page}");
        for flag in command.get_arguments().filter_map(clap::Arg::get_long) {
            let written = format!("\\-\\-{}", flag.replace('-', "\\-"));
            assert!(page.contains(&written), "{}: {flag}", command.get_name());
        }
        pages.push(page);
    }
    let unknown = run(&["manual", "brew"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unknown.stderr).contains("\"brew\""));
    if !have("groff") {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    for page in pages {
        let path = home.path().join("page.1");
        fs::write(&path, page).unwrap();
        let set = Command::new("groff").args(["-man", "-Tutf8", "-ww"]).arg(path).output().unwrap();
        assert!(set.status.success() && set.stderr.is_empty(), "{set:?}");
    }
}

/// Status and standard error of the program when nobody reads what it writes.
fn unread(words: &[&str]) -> (Option<i32>, String) {
    let mut child =
        program().args(words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    (done.status.code(), String::from_utf8(done.stderr).unwrap())
}

#[test]
fn a_reader_that_goes_away_ends_it_quietly() {
    let shoot = rendered(Compression::None, |_| {});
    let folder = shoot.shoot();
    let folder = folder.to_str().unwrap();
    let out = shoot.shoot().with_file_name("out");
    let out = out.to_str().unwrap();
    for words in [
        &["--help"][..],
        &["manual"],
        &["completions", "zsh"],
        &["plan", "--kind", "solid", "--rated", "10", "--metered", "1/60"],
        &["frames", folder],
        &["frames", folder, "--format", "json"],
        &["measure", folder, "--out", out],
    ] {
        let (status, complaint) = unread(words);
        assert_eq!(status, Some(0), "{words:?}: {complaint}");
        let loud = complaint.lines().find(|l| !l.starts_with("caution: "));
        assert_eq!(loud, None, "{words:?}");
    }
    // The files are there all the same.
    assert!(Path::new(out).join("profile.json").exists());
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_device_is_reported() {
    for words in [&["--help"][..], &["manual"], &["completions", "fish"]] {
        let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let done = program().args(words).stdout(full).output().unwrap();
        assert_eq!(done.status.code(), Some(3), "{words:?}");
        let complaint = String::from_utf8(done.stderr).unwrap();
        assert!(complaint.contains("standard output cannot be written"), "{complaint}");
    }
}

const ESCAPE: char = '\u{1b}';

/// What a terminal would see, standard error included; the program runs in one made by `script`.
fn in_terminal(line: &str, variables: &[(&str, &str)]) -> String {
    let mut command = Command::new("script");
    command.args(["-qec", &format!("{PROGRAM} {line}"), "/dev/null"]).stdin(Stdio::null());
    command.env_remove("NO_COLOR").env("TERM", "xterm").envs(variables.iter().copied());
    String::from_utf8_lossy(&command.output().unwrap().stdout).into_owned()
}

#[test]
fn escapes_are_for_terminals_that_want_them() {
    let shoot = rendered(Compression::None, |_| {});
    let folder = shoot.shoot();
    let folder = folder.to_str().unwrap();
    let wrong = ["measure", "--nonsense"];
    let measure = ["measure", folder, "--format", "json"];
    for words in [&["--help"][..], &wrong, &measure, &["frames", folder]] {
        let output = program().args(words).env("TERM", "xterm").output().unwrap();
        for bytes in [&output.stdout, &output.stderr] {
            let text = String::from_utf8_lossy(bytes);
            assert!(!text.contains(ESCAPE) && !text.contains("reading"), "{words:?}: {text}");
        }
    }
    if !have("script") {
        return;
    }
    let bold = |text: &str| text.contains("\u{1b}[1m");
    for line in ["--help", "measure --nonsense"] {
        assert!(bold(&in_terminal(line, &[])), "{line}");
        // https://no-color.org: set to anything but nothing.
        assert!(!in_terminal(line, &[("NO_COLOR", "1")]).contains(ESCAPE), "{line}");
        assert!(bold(&in_terminal(line, &[("NO_COLOR", "")])), "{line}");
        assert!(!in_terminal(line, &[("TERM", "dumb")]).contains(ESCAPE), "{line}");
        // Into a file, whatever the other stream is.
        let silent = in_terminal(&format!("{line} 2>&1 | cat"), &[]);
        assert!(!silent.contains(ESCAPE) && silent.len() > 40, "{silent}");
    }
    let one = in_terminal("measure --nonsense 2>/dev/null", &[]);
    assert!(!one.contains(ESCAPE), "{one}");
    let progress = in_terminal(&format!("frames '{folder}'"), &[("NO_COLOR", "1")]);
    assert!(progress.contains("reading") && !bold(&progress), "{progress}");
    assert!(!in_terminal(&format!("frames '{folder}'"), &[("TERM", "dumb")]).contains(ESCAPE));
}

#[test]
fn a_caution_is_said_once_on_one_terminal_and_to_both_streams_apart() {
    // Only what came before the filter is left: which frames are bare is a guess.
    let shoot = rendered(Compression::None, |shots| shots.truncate(6));
    let folder = shoot.shoot();
    let folder = folder.to_str().unwrap();
    let caution = "is only as good as the";
    let apart = run(&["measure", folder, "--name", "Apart"]);
    for bytes in [&apart.stdout, &apart.stderr] {
        let text = String::from_utf8_lossy(bytes);
        assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(caution), "{text}");
    }
    if !have("script") {
        return;
    }
    let together = in_terminal(&format!("measure '{folder}' --name Together"), &[]);
    let words: Vec<_> = together.split_whitespace().collect();
    assert_eq!(words.join(" ").matches(caution).count(), 1, "{together}");
}
