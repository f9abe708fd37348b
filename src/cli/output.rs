//! Files of a run, written so that a half-finished set is never taken for a complete one.
//!
//! An [`OutputSet`] is planned before the work starts: the folder can be written to, and nothing is there that would be
//! overwritten. While the work goes on each file is written whole under a hidden temporary name in the same folder. At the end all
//! get their final names, the truth file last: where it lies, the set is complete. Whatever goes wrong, the temporary files are
//! removed; files of an earlier run are kept until every new file lies complete beside them.

use super::interrupt::Interrupt;
pub use super::output_error::OutputError;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::{NamedTempFile, PersistError};

/// What a run will write.
#[derive(Debug, Clone, Copy)]
pub struct OutputPlan<'a> {
    /// The folder; made when it does not exist.
    pub folder: &'a Path,
    /// Names of the files in it, the truth left out.
    pub files: &'a [String],
    /// Name of the truth file, written last; `None` for sets that have none.
    pub truth: Option<&'a str>,
    /// Whether files that exist are replaced.
    pub force: bool,
}

/// Files that appear together or not at all. See the head of this file.
#[derive(Debug)]
pub struct OutputSet {
    /// In the order of their final naming; the truth, if any, is the last.
    files: Vec<Planned>,
    has_truth: bool,
    force: bool,
    folder: PathBuf,
    /// Folders this set made, outermost first; removed again if they stay empty.
    made: Vec<PathBuf>,
    /// Files of an older run that this one does not make.
    stale: Vec<PathBuf>,
}

#[derive(Debug)]
struct Planned {
    target: PathBuf,
    written: Option<NamedTempFile>,
}

impl OutputSet {
    /// Checks everything that can be checked before the work: call it first.
    ///
    /// # Errors
    /// The folder is none or cannot be written to, a name is not a plain file name or occurs twice, a target exists
    /// (unless `force`) or is a folder (always).
    pub fn plan(plan: &OutputPlan<'_>) -> Result<OutputSet, OutputError> {
        let names: Vec<&str> = plan
            .files
            .iter()
            .map(String::as_str)
            .chain(plan.truth)
            .collect();
        check_names(&names)?;
        let files: Vec<Planned> = names
            .iter()
            .map(|name| Planned {
                target: plan.folder.join(name),
                written: None,
            })
            .collect();
        check_targets(&files, plan.force)?;
        let mut set = OutputSet {
            files,
            has_truth: plan.truth.is_some(),
            force: plan.force,
            folder: plan.folder.to_owned(),
            made: Vec::new(),
            stale: Vec::new(),
        };
        set.make_folder()?;
        Ok(set)
    }

    /// What an older run of the same work may have left and this one does not make: with `force` it goes with the old truth.
    pub fn replaces<'a>(&mut self, names: impl IntoIterator<Item = &'a String>) {
        let is_new = |path: &PathBuf| self.files.iter().all(|file| file.target != *path);
        let all = names.into_iter().map(|name| self.folder.join(name));
        self.stale = all.filter(is_new).collect();
    }

    /// Writes one planned file whole, under a temporary name; the second content counts when it is handed in twice.
    ///
    /// # Errors
    /// The name was not planned, or the system refuses.
    pub fn put(&mut self, name: &str, bytes: &[u8]) -> Result<(), OutputError> {
        let target = self.folder.join(name);
        let Some(file) = self.files.iter_mut().find(|file| file.target == target) else {
            return Err(OutputError::Name {
                name: name.to_owned(),
                reason: "it was not planned",
            });
        };
        file.written = Some(write_temporary(&target, bytes)?);
        Ok(())
    }

    /// Gives all files their final names, the truth last, and returns where they lie.
    ///
    /// With `force` an old truth is removed first, so that at no moment a truth lies beside files it does not describe. When
    /// a file cannot get its name, the new files that replaced nothing are removed again.
    ///
    /// # Errors
    /// A planned file is missing, the flag is raised, or the system refuses.
    pub fn finish(mut self, interrupt: &Interrupt) -> Result<Vec<PathBuf>, OutputError> {
        if let Some(file) = self.files.iter().find(|file| file.written.is_none()) {
            return Err(OutputError::Missing {
                path: file.target.clone(),
            });
        }
        interrupt.check()?;
        self.remove_old_truth()?;
        let mut appeared: Vec<PathBuf> = Vec::new();
        for file in &mut self.files {
            let existed = exists(&file.target);
            if let Err(error) = name_finally(file, self.force) {
                for path in &appeared {
                    remove_quietly(path);
                }
                return Err(error);
            }
            if !existed {
                appeared.push(file.target.clone());
            }
        }
        sync_folder(&self.folder);
        Ok(self.files.iter().map(|file| file.target.clone()).collect())
    }

    /// Makes the folder and tries whether a file can be written into it.
    fn make_folder(&mut self) -> Result<(), OutputError> {
        let path = if self.folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            &self.folder
        }
        .to_owned();
        // the parent of a relative `out` is the empty path, which stands for the folder we are in
        let named = || {
            path.ancestors()
                .filter(|folder| !folder.as_os_str().is_empty())
        };
        let missing: Vec<&Path> = named().take_while(|folder| !is_here(folder)).collect();
        let blocking = named()
            .find(|folder| is_here(folder))
            .filter(|folder| !folder.is_dir());
        if let Some(blocking) = blocking {
            return Err(OutputError::NotAFolder {
                path: blocking.to_owned(),
            });
        }
        self.made = missing.into_iter().rev().map(Path::to_owned).collect();
        let tried =
            std::fs::create_dir_all(&path).and_then(|()| tempfile::tempfile_in(&path).map(drop));
        tried.map_err(|source| OutputError::Folder { path, source })
    }

    fn remove_old_truth(&self) -> Result<(), OutputError> {
        let truth = self.files.last().filter(|_| self.has_truth);
        let old = truth
            .map(|file| &file.target)
            .into_iter()
            .chain(&self.stale);
        for path in old.filter(|path| self.force && exists(path)) {
            std::fs::remove_file(path).map_err(|source| OutputError::Write {
                path: path.clone(),
                source,
            })?;
        }
        Ok(())
    }
}

impl Drop for OutputSet {
    /// Removes temporary files, and folders this set made if nothing lies in them.
    fn drop(&mut self) {
        for file in &mut self.files {
            file.written = None;
        }
        for folder in self.made.iter().rev() {
            // Refused, as it should be, when something lies in it.
            std::fs::remove_dir(folder).unwrap_or_default();
        }
    }
}

fn check_names(names: &[&str]) -> Result<(), OutputError> {
    for (index, name) in names.iter().enumerate() {
        let refuse = |reason| {
            Err(OutputError::Name {
                name: (*name).to_owned(),
                reason,
            })
        };
        if Path::new(name).file_name() != Some(name.as_ref()) {
            return refuse("it is not a plain file name");
        }
        if names[..index].contains(name) {
            return refuse("two files would have this name");
        }
    }
    Ok(())
}

fn check_targets(files: &[Planned], force: bool) -> Result<(), OutputError> {
    if let Some(file) = files.iter().find(|file| file.target.is_dir()) {
        return Err(OutputError::IsAFolder {
            path: file.target.clone(),
        });
    }
    let mut existing = files.iter().filter(|file| exists(&file.target));
    match existing.next() {
        Some(first) if !force => Err(OutputError::Exists {
            path: first.target.clone(),
            others: existing.count(),
        }),
        _ => Ok(()),
    }
}

/// Whether the name is taken, be it by a link that leads nowhere.
fn exists(path: &Path) -> bool {
    path.symlink_metadata().is_ok()
}

/// As [`exists`], and the empty path stands for the folder we are in.
fn is_here(path: &Path) -> bool {
    path.as_os_str().is_empty() || exists(path)
}

/// The folder of a file; `.` for a bare name.
fn folder_of(target: &Path) -> &Path {
    target
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// A complete file on the disc, with a hidden name; it vanishes when dropped.
fn write_temporary(target: &Path, bytes: &[u8]) -> Result<NamedTempFile, OutputError> {
    let write = || {
        let mut builder = tempfile::Builder::new();
        builder.prefix(".skewstar-").suffix(".tmp");
        // Temporary files are private by default; a result is as readable as any new file (the system's mask applies).
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut file = builder.tempfile_in(folder_of(target))?;
        file.write_all(bytes)?;
        file.as_file().sync_all()?;
        Ok(file)
    };
    write().map_err(|source| OutputError::Write {
        path: target.to_owned(),
        source,
    })
}

/// Renames the temporary file. Without `force` a file that has appeared meanwhile is not overwritten.
fn name_finally(file: &mut Planned, force: bool) -> Result<(), OutputError> {
    let Some(written) = file.written.take() else {
        return Err(OutputError::Missing {
            path: file.target.clone(),
        });
    };
    let named = if force {
        written.persist(&file.target)
    } else {
        without_replacing(written, &file.target)
    };
    match named.map_err(|refused| refused.error) {
        Ok(_) => Ok(()),
        Err(error) if !force && error.kind() == io::ErrorKind::AlreadyExists => {
            Err(OutputError::Exists {
                path: file.target.clone(),
                others: 0,
            })
        }
        Err(source) => Err(OutputError::Write {
            path: file.target.clone(),
            source,
        }),
    }
}

/// Renames without overwriting. Some file systems cannot promise that; there the name is looked up once more just before.
fn without_replacing(written: NamedTempFile, target: &Path) -> Result<std::fs::File, PersistError> {
    written.persist_noclobber(target).or_else(|refused| {
        if exists(target) {
            Err(refused)
        } else {
            refused.file.persist(target)
        }
    })
}

/// Removes a file of our own on the way out of an error; that error is reported, not this one.
fn remove_quietly(path: &Path) {
    std::fs::remove_file(path).unwrap_or_default();
}

/// Makes the new names last through a power cut, where the system offers that for folders.
fn sync_folder(folder: &Path) {
    if cfg!(unix) {
        std::fs::File::open(folder)
            .and_then(|opened| opened.sync_all())
            .unwrap_or_default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use tempfile::TempDir;

    const FILES: [&str; 2] = ["screw b.fits", "screw b.png"];
    const TRUTH: &str = "screw b.truth.json";

    /// A place with a blank in its name, that does not exist yet.
    fn place() -> (TempDir, PathBuf) {
        let root = tempfile::tempdir().unwrap();
        let folder = root.path().join("star frames").join("first night");
        (root, folder)
    }

    fn plan(folder: &Path, force: bool) -> Result<OutputSet, OutputError> {
        let files = FILES.map(str::to_owned);
        OutputSet::plan(&OutputPlan {
            folder,
            files: &files,
            truth: Some(TRUTH),
            force,
        })
    }

    /// A planned set with every file handed in; the content of each is `text` and its name.
    fn filled(folder: &Path, force: bool, text: &str) -> OutputSet {
        let mut set = plan(folder, force).unwrap();
        for name in FILES.iter().chain([&TRUTH]) {
            set.put(name, format!("{text} {name}").as_bytes()).unwrap();
        }
        set
    }

    /// Names and contents of everything in a folder, hidden files too.
    fn listing(folder: &Path) -> Vec<(String, String)> {
        let mut listing: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .map(|path| {
                let content = if path.is_dir() {
                    "folder".to_owned()
                } else {
                    fs::read_to_string(&path).unwrap()
                };
                (
                    path.file_name().unwrap().to_string_lossy().into_owned(),
                    content,
                )
            })
            .collect();
        listing.sort();
        listing
    }

    fn complete(text: &str) -> Vec<(String, String)> {
        FILES
            .iter()
            .chain([&TRUTH])
            .map(|name| ((*name).to_owned(), format!("{text} {name}")))
            .collect()
    }

    #[test]
    fn a_set_appears_whole_in_a_folder_made_for_it() {
        let (_root, folder) = place();
        let written = filled(&folder, false, "new")
            .finish(&Interrupt::new())
            .unwrap();
        assert_eq!(listing(&folder), complete("new"));
        assert_eq!(written.last().unwrap(), &folder.join(TRUTH));
    }

    #[test]
    fn work_that_fails_leaves_nothing_behind() {
        let (root, folder) = place();
        let set = filled(&folder, false, "new");
        assert_eq!(listing(&folder).len(), 3, "three hidden files");
        assert!(
            listing(&folder)
                .iter()
                .all(|(name, _)| name.starts_with(".skewstar-"))
        );
        drop(set);
        assert_eq!(listing(root.path()), []);
    }

    #[test]
    fn existing_files_are_refused_before_any_work_and_stay_as_they_are() {
        let (_root, folder) = place();
        filled(&folder, false, "old")
            .finish(&Interrupt::new())
            .unwrap();
        let error = plan(&folder, false).unwrap_err();
        let first = folder.join(FILES[0]);
        assert_eq!(
            error.to_string(),
            format!(
                "{} exists already (and 2 other files of this set)",
                first.display()
            )
        );
        assert!(
            error.hint().unwrap().contains("--force")
                && error.hint().unwrap().contains("--out DIR")
        );
        assert_eq!(error.exit_status(), 2);
        assert_eq!(listing(&folder), complete("old"));
    }

    #[test]
    fn force_replaces_the_whole_set() {
        let (_root, folder) = place();
        filled(&folder, false, "old")
            .finish(&Interrupt::new())
            .unwrap();
        filled(&folder, true, "new")
            .finish(&Interrupt::new())
            .unwrap();
        assert_eq!(listing(&folder), complete("new"));
    }

    #[test]
    fn an_interrupt_keeps_the_old_set_and_drops_the_new_one() {
        let (_root, folder) = place();
        filled(&folder, false, "old")
            .finish(&Interrupt::new())
            .unwrap();
        let interrupt = Interrupt::new();
        let set = filled(&folder, true, "new");
        interrupt.raise();
        let error = set.finish(&interrupt).unwrap_err();
        assert!(matches!(error, OutputError::Interrupted(_)));
        assert_eq!(error.exit_status(), 130);
        assert_eq!(listing(&folder), complete("old"));
    }

    #[test]
    fn a_set_that_fails_half_way_is_taken_back() {
        let (_root, folder) = place();
        let set = filled(&folder, false, "new");
        fs::write(folder.join(FILES[1]), "of somebody else").unwrap();
        let error = set.finish(&Interrupt::new()).unwrap_err();
        assert!(
            matches!(&error, OutputError::Exists { path, .. } if path == &folder.join(FILES[1]))
        );
        assert_eq!(
            listing(&folder),
            [(FILES[1].to_owned(), "of somebody else".to_owned())]
        );
    }

    #[test]
    fn a_forced_set_that_fails_half_way_has_no_truth() {
        let (_root, folder) = place();
        filled(&folder, false, "old")
            .finish(&Interrupt::new())
            .unwrap();
        fs::remove_file(folder.join(FILES[1])).unwrap();
        let set = filled(&folder, true, "new");
        fs::create_dir(folder.join(FILES[1])).unwrap();
        let error = set.finish(&Interrupt::new()).unwrap_err();
        assert!(
            matches!(&error, OutputError::Write { path, .. } if path == &folder.join(FILES[1]))
        );
        let expected = [(FILES[0], "new screw b.fits"), (FILES[1], "folder")];
        assert_eq!(
            listing(&folder),
            expected.map(|(name, content)| (name.to_owned(), content.to_owned()))
        );
    }

    #[test]
    fn a_file_in_the_place_of_a_folder_is_named() {
        let (root, _) = place();
        let file = root.path().join("taken");
        fs::write(&file, "x").unwrap();
        for folder in [file.clone(), file.join("below")] {
            let error = plan(&folder, true).unwrap_err();
            assert!(
                matches!(&error, OutputError::NotAFolder { path } if path == &file),
                "{error}"
            );
            assert!(error.hint().unwrap().contains("--out DIR"));
        }
    }

    #[test]
    fn a_folder_in_the_place_of_a_file_is_refused_even_with_force() {
        let (_root, folder) = place();
        fs::create_dir_all(folder.join(TRUTH)).unwrap();
        assert!(
            matches!(plan(&folder, true), Err(OutputError::IsAFolder { path }) if path == folder.join(TRUTH))
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_nowhere_counts_as_a_file_that_exists() {
        let (_root, folder) = place();
        fs::create_dir_all(&folder).unwrap();
        std::os::unix::fs::symlink("nowhere", folder.join(FILES[0])).unwrap();
        assert!(matches!(
            plan(&folder, false),
            Err(OutputError::Exists { others: 0, .. })
        ));
    }

    #[cfg(unix)]
    #[test]
    fn files_get_the_permissions_of_any_new_file() {
        use std::os::unix::fs::PermissionsExt;
        let (root, folder) = place();
        filled(&folder, false, "new")
            .finish(&Interrupt::new())
            .unwrap();
        let ordinary = root.path().join("ordinary");
        fs::write(&ordinary, "x").unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(&folder.join(TRUTH)), mode(&ordinary));
    }

    #[test]
    fn a_file_that_was_planned_must_be_made_and_one_that_was_not_is_refused() {
        let (root, folder) = place();
        let mut set = plan(&folder, false).unwrap();
        assert!(matches!(
            set.put("other.png", b"x"),
            Err(OutputError::Name { .. })
        ));
        set.put(FILES[0], b"x").unwrap();
        let error = set.finish(&Interrupt::new()).unwrap_err();
        assert!(matches!(error, OutputError::Missing { path } if path == folder.join(FILES[1])));
        assert_eq!(listing(root.path()), []);
    }

    #[test]
    fn names_must_be_plain_and_differ() {
        let (root, folder) = place();
        for names in [&["a/b.fits"][..], &[".."], &[""], &["a.png", "a.png"]] {
            let files: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
            let plan = OutputPlan {
                folder: &folder,
                files: &files,
                truth: None,
                force: false,
            };
            assert!(
                matches!(OutputSet::plan(&plan), Err(OutputError::Name { .. })),
                "{names:?}"
            );
        }
        assert_eq!(listing(root.path()), []);
    }
}
