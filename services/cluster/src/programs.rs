//! Where PostgreSQL's programs are.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::ClusterError;

/// The oldest version that has everything the migrations use (`pg_database_owner` came with 14).
const OLDEST: u32 = 14;

/// Parent, beginning of the child's name, and the way down to the programs. The places where the
/// packages of Debian, Fedora, Alpine, Homebrew and the macOS installers put them, and a build
/// from source.
const PLACES: &[(&str, &str, &str)] = &[
    ("/usr/lib/postgresql", "", "bin"),
    ("/usr", "pgsql-", "bin"),
    ("/usr/libexec", "postgresql", ""),
    ("/opt/homebrew/opt", "postgresql@", "bin"),
    ("/usr/local/opt", "postgresql@", "bin"),
    ("/usr/local", "pgsql", "bin"),
    ("/Library/PostgreSQL", "", "bin"),
    ("/Applications/Postgres.app/Contents/Versions", "", "bin"),
];

/// A folder with `postgres`, `initdb` and `psql` of one version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Programs {
    pub(crate) folder: PathBuf,
    pub(crate) major: u32,
}

impl Programs {
    /// The programs to use for the data in `data`: of the version that made it, if it was made
    /// already; else those named, those on the path, or the newest installed.
    pub(crate) fn find(named: Option<&Path>, data: &Path) -> Result<Self, ClusterError> {
        let looked_at = named.map_or_else(usual_folders, |folder| vec![folder.to_owned()]);
        let made_by = fs::read_to_string(data.join("PG_VERSION")).ok();
        choose(&looked_at, made_by.and_then(|text| text.trim().parse().ok()), data)
    }

    pub(crate) fn path(&self, program: &str) -> PathBuf {
        self.folder.join(program)
    }
}

fn choose(
    looked_at: &[PathBuf],
    made_by: Option<u32>,
    data: &Path,
) -> Result<Programs, ClusterError> {
    let found: Vec<Programs> = looked_at.iter().filter_map(|folder| programs_in(folder)).collect();
    if found.is_empty() {
        let looked_at = list(looked_at.iter().map(|folder| folder.display().to_string()));
        return Err(ClusterError::NoPrograms { looked_at });
    }
    let fits = |it: &&Programs| made_by.map_or(it.major >= OLDEST, |made_by| it.major == made_by);
    found.iter().find(fits).cloned().ok_or_else(|| ClusterError::WrongVersion {
        folder: data.to_owned(),
        needed: made_by.map_or_else(|| format!("{OLDEST} or later"), |major| major.to_string()),
        found: list(found.iter().map(|it| format!("{} in {}", it.major, it.folder.display()))),
    })
}

/// The path's folders first, then the usual ones from the newest to the oldest.
fn usual_folders() -> Vec<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let mut folders: Vec<PathBuf> = std::env::split_paths(&path)
        // A link on the path leads to the folder that has all of the programs.
        .filter_map(|folder| folder.join("postgres").canonicalize().ok()?.parent().map(Into::into))
        .collect();
    for (parent, beginning, below) in PLACES {
        let Ok(children) = fs::read_dir(parent) else { continue };
        let mut named: Vec<PathBuf> = children
            .flatten()
            .filter(|child| child.file_name().to_string_lossy().starts_with(beginning))
            .map(|child| child.path().join(below))
            .collect();
        named.sort_by_key(|folder| std::cmp::Reverse(number_in(folder.as_os_str())));
        folders.append(&mut named);
    }
    if folders.is_empty() {
        folders.extend(std::env::split_paths(&path));
        folders
            .extend(PLACES.iter().map(|(parent, beginning, _)| Path::new(parent).join(beginning)));
    }
    folders
}

fn programs_in(folder: &Path) -> Option<Programs> {
    let complete = ["postgres", "initdb", "psql"].iter().all(|name| folder.join(name).is_file());
    let said = complete.then(|| Command::new(folder.join("postgres")).arg("--version").output());
    let major = number_in(OsStr::new(String::from_utf8_lossy(&said?.ok()?.stdout).trim()))?;
    Some(Programs { folder: folder.to_owned(), major })
}

/// The first number in a text: `postgres (PostgreSQL) 15.14` and `/usr/pgsql-16/bin` have one.
fn number_in(text: &OsStr) -> Option<u32> {
    let text = text.to_string_lossy();
    let mut numbers = text.split(|c: char| !c.is_ascii_digit()).filter(|part| !part.is_empty());
    numbers.next()?.parse().ok()
}

fn list(items: impl Iterator<Item = String>) -> String {
    let mut items: Vec<String> = items.collect();
    items.dedup();
    items.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn data_is_opened_only_by_the_version_that_made_it() {
        let named = usual_folders();
        let newest = choose(&named, None, Path::new("/data")).expect("PostgreSQL is installed");
        assert!(newest.major >= OLDEST);
        let error = choose(&named, Some(9), Path::new("/data")).expect_err("9 is not installed");
        let text = error.to_string();
        assert!(text.starts_with("/data needs PostgreSQL 9, and only these were found:"), "{text}");
    }

    #[test]
    fn versions_are_read_from_what_postgres_says_and_from_folder_names() {
        let versions = [
            ("postgres (PostgreSQL) 15.14 (Debian 15.14-0+deb12u1)", Some(15)),
            ("postgres (PostgreSQL) 18beta1", Some(18)),
            ("/opt/homebrew/opt/postgresql@16/bin", Some(16)),
            ("/usr/local/pgsql/bin", None),
        ];
        for (text, major) in versions {
            assert_eq!(number_in(OsStr::new(text)), major, "{text}");
        }
    }
}
