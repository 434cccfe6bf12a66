//! The documents say what is true: transcripts are replayed, quoted files are compared, named paths exist.
//!
//! A block of a Markdown file that begins with ```` ```console ```` holds lines `$ command` and, below each, its output
//! (standard output and standard error as they come). Every block runs in a shell of its own, in a fresh copy of the
//! folders that it may name, with the built `keyway` first in the path. KEYWAY_REWRITE=1 rewrites the outputs.

#![cfg(unix)]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::{env, fs};

use pretty_assertions::assert_str_eq;

/// The documents with transcripts.
const TRANSCRIPTS: [&str; 3] = ["README.md", "harness/README.md", "cases/README.md"];

/// All documents.
const DOCUMENTS: [&str; 5] = ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "harness/README.md", "cases/README.md"];

/// The folders that a transcript may name.
const FOLDERS: [&str; 5] = ["harness", "harness/defects", "cases", "tests/readme", "tests/proving/routines/edits"];

/// Stands between the outputs of two commands.
const MARK: &str = "\u{1}\n";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The contents of a document's fenced blocks of one language.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let fence = format!("```{language}\n");
    let mut blocks = Vec::new();
    let mut rest = text;
    while let Some(start) = rest.find(&fence) {
        let body = &rest[start + fence.len()..];
        let end = body.find("```\n").expect("a fenced block that ends");
        blocks.push(body[..end].to_owned());
        rest = &body[end + 4..];
    }
    blocks
}

/// A copy of the folders that a transcript may name.
fn copy() -> tempfile::TempDir {
    let copy = tempfile::tempdir().unwrap();
    for folder in FOLDERS {
        let to = copy.path().join(folder);
        fs::create_dir_all(&to).unwrap();
        for entry in fs::read_dir(root().join(folder)).unwrap() {
            let file = entry.unwrap().path();
            if file.is_file() {
                fs::copy(&file, to.join(file.file_name().unwrap())).unwrap();
            }
        }
    }
    copy
}

/// A block with the outputs that its commands really have.
fn replayed(block: &str) -> String {
    let commands: Vec<&str> = block.lines().filter_map(|line| line.strip_prefix("$ ")).collect();
    assert!(!commands.is_empty(), "a transcript without a command:\n{block}");
    let mut script = "exec 2>&1\n".to_owned();
    for command in &commands {
        // `$?` of the next command is that of this one.
        writeln!(script, "{command}\nkeyway_status=$?\nprintf '\\001\\n'\n(exit $keyway_status)").unwrap();
    }
    let folder = copy();
    let programs = Path::new(env!("CARGO_BIN_EXE_keyway")).parent().unwrap();
    let path = env::var_os("PATH").unwrap_or_default();
    let path = env::join_paths([programs.to_owned()].into_iter().chain(env::split_paths(&path))).unwrap();
    let output = Command::new("sh")
        .args(["-c", &script])
        .current_dir(folder.path())
        .env("PATH", path)
        .env("NO_COLOR", "1")
        .env_remove("CLICOLOR_FORCE")
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let output = String::from_utf8(output.stdout).unwrap();
    let outputs: Vec<&str> = output.split(MARK).collect();
    assert_eq!(outputs.len(), commands.len() + 1, "a command of this transcript ended the shell:\n{block}");
    commands.iter().zip(outputs).map(|(command, output)| format!("$ {command}\n{output}")).collect()
}

#[test]
fn transcripts_are_what_the_commands_print() {
    let rewrite = env::var_os("KEYWAY_REWRITE").is_some();
    let mut replays = 0;
    for name in TRANSCRIPTS {
        let old = read(name);
        let mut new = old.clone();
        for block in blocks(&old, "console") {
            let now = replayed(&block);
            replays += 1;
            if rewrite {
                new = new.replacen(&block, &now, 1);
                continue;
            }
            let switch = "KEYWAY_REWRITE=1 cargo test readme";
            assert_str_eq!(block, now, "a transcript in {name} is not what the command prints; `{switch}` rewrites it");
        }
        if new != old {
            fs::write(root().join(name), &new).unwrap();
        }
    }
    assert!(replays > 4, "the documents have lost their transcripts");
}

/// A YAML block whose first line is `# FILE` is that file; with `# FILE, in part` it stands in it.
#[test]
fn quoted_files_are_quoted_right() {
    let mut quotes = 0;
    for name in TRANSCRIPTS {
        for block in blocks(&read(name), "yaml") {
            let Some((title, body)) = block.strip_prefix("# ").and_then(|block| block.split_once('\n')) else {
                continue;
            };
            quotes += 1;
            match title.strip_suffix(", in part") {
                Some(file) => assert!(read(file).contains(body), "{name} quotes what {file} does not say:\n{body}"),
                None => {
                    let text = read(title);
                    let code: Vec<&str> =
                        text.lines().skip_while(|line| line.starts_with('#') || line.is_empty()).collect();
                    assert_str_eq!(code.join("\n") + "\n", body, "{name} quotes {title}");
                }
            }
        }
    }
    assert!(quotes > 1, "the documents have lost their quotes");
}

/// README.md's tests of a user's own; the test below compares the text.
mod readme_example {
    #[test]
    fn no_cartridge_breaks_a_promise() {
        let harness = std::sync::Arc::new(keyway::Harness::load("harness/aria.yaml").unwrap());
        let report = keyway::fuzz::Fuzz::new(&harness).trials(20_000).run().unwrap();
        assert!(report.findings.is_empty(), "{report}");
    }

    #[test]
    fn every_drum_library_takes_its_branch() {
        let suite = keyway::Suite::load("cases/drums.yaml").unwrap();
        let mut checker = keyway::Checker::new(suite.harness.clone());
        for case in suite.cases() {
            let case = case.unwrap();
            let result = checker.check(&case);
            assert_eq!(result.verdict, keyway::Verdict::Held, "{}", result.name);
        }
    }
}

#[test]
fn the_rust_of_the_readme_is_a_test_above() {
    let blocks = blocks(&read("README.md"), "rust");
    assert_eq!(blocks.len(), 2);
    for block in blocks {
        let indented: String = block.lines().map(|line| format!("    {line}\n")).collect();
        assert!(include_str!("readme.rs").contains(&indented), "README.md's Rust is not in tests/readme.rs:\n{block}");
    }
}

/// The texts in backticks, fenced blocks left out.
fn code_words(text: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut fenced = false;
    for line in text.lines() {
        if line.starts_with("```") {
            fenced = !fenced;
        } else if !fenced {
            words.extend(line.split('`').skip(1).step_by(2).map(str::to_owned));
        }
    }
    words
}

fn looks_like_path(word: &str) -> bool {
    let ending = |ending: &str| word.ends_with(ending);
    !word.contains([' ', ':', '<', '$', '*', '{'])
        && (word.contains('/')
            || [".rs", ".md", ".yaml", ".json", ".toml", ".sh", ".elf", ".s"].into_iter().any(ending))
}

#[test]
fn paths_in_developers_exist() {
    let words = code_words(&read("DEVELOPERS.md"));
    // What is beside the repository need not be there.
    let paths: Vec<&String> = words.iter().filter(|word| looks_like_path(word) && !word.starts_with("../")).collect();
    assert!(paths.len() > 20, "DEVELOPERS.md has lost its paths");
    let missing: Vec<&&String> = paths.iter().filter(|path| !root().join(path).exists()).collect();
    assert!(missing.is_empty(), "DEVELOPERS.md names what is not there: {missing:?}");
}

#[test]
fn links_lead_somewhere() {
    for name in DOCUMENTS {
        let text = read(name);
        for link in text.split("](").skip(1) {
            let target = link.split([')', '#']).next().unwrap_or_default();
            if target.is_empty() || target.contains("://") {
                continue;
            }
            let file: PathBuf = root().join(name).parent().unwrap().join(target);
            assert!(file.exists(), "{name} links to {target}, which is not there");
        }
    }
}
