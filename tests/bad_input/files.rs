//! Files that a harness or a case file names: missing, empty, too large, of another kind, or leading back to themselves.

use std::fs::{self, File};

use super::support::{HARNESS, Project};

/// What is wrong with a file, how it is made under the name `f`, and what is said of it.
type Poor = (&'static str, fn(&Project), &'static str);

/// Everything that is no good as an image.
fn poor_files() -> Vec<Poor> {
    let mut files: Vec<Poor> = vec![
        ("missing", |_| {}, "no such file"),
        ("empty", |project| project.write("f", ""), "file is empty"),
        ("directory", |project| fs::create_dir(project.path("f")).expect("a folder"), "directory"),
        ("too large", |project| large(project, "f"), "larger than 16"),
    ];
    if cfg!(unix) {
        files.push(("pipe", pipe, "regular file"));
    }
    files
}

/// A file of more than 16 MiB that takes no room.
fn large(project: &Project, name: &str) {
    File::create(project.path(name)).and_then(|file| file.set_len((16 << 20) + 2)).expect("a large file");
}

fn pipe(project: &Project) {
    let made = std::process::Command::new("mkfifo").arg(project.path("f")).status();
    assert!(made.is_ok_and(|status| status.success()), "mkfifo");
}

#[test]
fn host_images() {
    for (what, make, message) in poor_files() {
        let project = Project::new();
        make(&project);
        project.replace("h.yaml", "image: aria.elf", "image: f");
        project.complains(what, "h.yaml:2:15", "host.image", message);
    }
    let project = Project::new();
    project.replace("h.yaml", "image: aria.elf", "even: f, odd: aria.elf");
    project.write("f", [0; 64]);
    project.complains("a half that is ELF", "h.yaml:2:22", "host.odd", "read as raw bytes");
    for (key, at, path, message) in [
        ("format: raw", "h.yaml:2:33", "host.format", "its content is ELF"),
        ("format: elff", "h.yaml:2:33", "host.format", "did you mean `elf`?"),
        ("origin: 0", "h.yaml:2:33", "host.origin", "carry their own addresses"),
        ("symbols: f", "h.yaml:2:34", "host.symbols", "no such file"),
        ("range: 0x10-0x0", "h.yaml:2:32", "host.range", "not an ascending range"),
        ("even: f", "h.yaml:2:7", "host", "give `image`, or `even` and `odd`"),
    ] {
        let project = Project::new();
        project.replace("h.yaml", "image: aria.elf", &format!("image: aria.elf, {key}"));
        project.complains(key, at, path, message);
    }
    let project = Project::new();
    let elf = fs::read(project.path("aria.elf")).expect("the demo ROM");
    project.write("aria.elf", &elf[..1000]);
    project.complains("ELF cut off", "h.yaml:2:15", "host.image", "damaged");
}

#[test]
fn overlay_images() {
    for (what, make, message) in poor_files() {
        let project = Project::new();
        make(&project);
        project.replace("h.yaml", "image: patch.bin", "image: f");
        let message = message.replace("larger than 16", "larger than 16,777,216 bytes");
        project.complains(what, "h.yaml:11:33", "overlays[0].image", &message);
    }
}

#[test]
fn cartridge_images() {
    for (what, make, message) in poor_files() {
        let project = Project::new();
        make(&project);
        project.replace("c.yaml", "product: \"AW-3200-00\"", "file: f");
        project.complains(what, "c.yaml:5:48", "cartridges.choir.file", message);
    }
    let project = Project::new();
    project.write("f", [0; 2000]);
    project.replace("c.yaml", "product: \"AW-3200-00\"", "size: 512 B, file: f");
    project.complains(
        "larger than its size",
        "c.yaml:5:61",
        "cartridges.choir.file",
        "more than the image of 512 bytes",
    );
    let project = Project::new();
    project.write("f", [0; 20]);
    project.replace("c.yaml", "product: \"AW-3200-00\"", "file: f");
    project.complains("too small for a field", "c.yaml:5:22", "cartridges.choir.signature", "beyond the image of 20");
}

#[test]
fn harness_files() {
    for (name, message) in [("nope.yaml", "there is no such file"), (".", "directory"), ("\"\"", "directory")] {
        let project = Project::new();
        project.replace("c.yaml", "harness: h.yaml", &format!("harness: {name}"));
        project.complains(name, "c.yaml:1:10", "harness", message);
    }
    let project = Project::new();
    project.replace("c.yaml", "harness: h.yaml", "harness: c.yaml");
    project.complains("a case file", "c.yaml:1:1", "harness", "this is a case file");
    let project = Project::new();
    project.replace("c.yaml", "harness: h.yaml", "harness: patch.bin");
    project.complains("an image", "patch.bin:1:17", "", "not UTF-8");
    let said = Project::new().refused("the harness itself", &["check", "h.yaml"], 2).join("\n");
    assert!(said.contains("this is a harness file"), "{said}");
}

#[test]
fn files_that_extend() {
    let extends = |name: &str| {
        let project = Project::new();
        project.write("h.yaml", format!("extends: {name}\n{HARNESS}"));
        project
    };
    extends("h.yaml").complains("itself", "h.yaml:1:10", "extends", "h.yaml extends itself in the end");
    extends("nope.yaml").complains("missing", "h.yaml:1:10", "extends", "nope.yaml: there is no such file");
    extends(".").complains("a directory", "h.yaml:1:10", "extends", "this is a directory");
    extends("").complains("nothing", "h.yaml:1:1", "extends", "`extends` has no value");
    let project = extends("a.yaml");
    project.write("a.yaml", "extends: b.yaml\n");
    project.write("b.yaml", "# round\nextends: h.yaml\n");
    project.complains("a cycle", "b.yaml:2:10", "extends", "h.yaml extends itself in the end");
    let project = extends("a.yaml");
    project.write("a.yaml", "clok: 1\n");
    project.complains("wrong key in the base", "a.yaml:1:1", "clok", "did you mean `clock`?");
    let project = Project::new();
    project.write("a.yaml", HARNESS.replace("mode_patched", "mode_pached"));
    project.write("h.yaml", "extends: a.yaml\n");
    project.complains("wrong value in the base", "a.yaml:22:38", "branches.patched.at", "did you mean `mode_patched`");
    let project = Project::new();
    project.write("h.yaml", "extends: a0.yaml\n");
    for number in 0..40 {
        project.write(&format!("a{number}.yaml"), format!("extends: a{}.yaml\n", number + 1));
    }
    project.complains("a long chain", "a14.yaml:1:10", "extends", "longer than 16");
}
