//! Files as cameras leave them: in pieces, renamed, written over, broken, empty.

use super::*;
use crate::night::Happening;
use std::io::Write;

fn card(text: &str) -> String {
    format!("{text:80}")
}

/// A FITS file of 3 × 5 pixels of 16 bits, by the standard's text.
fn fits() -> Vec<u8> {
    let cards = [
        "SIMPLE  =                    T",
        "BITPIX  =                   16 / bits",
        "NAXIS   =                    2",
        "NAXIS1  =                    3",
        "NAXIS2  =                    5",
        "END",
    ];
    let mut bytes: Vec<u8> = cards.iter().flat_map(|c| card(c).into_bytes()).collect();
    bytes.resize(2880, b' ');
    bytes.extend([7u8; 30]);
    bytes.resize(2 * 2880, 0);
    bytes
}

/// Whole from its last value on, without the filling of its last block too; one byte less is not.
#[test]
fn a_fits_file_says_itself_how_long_it_is() {
    let bytes = fits();
    for length in 10..bytes.len() {
        let whole = wholeness(&bytes[..length]) == Some(true);
        assert_eq!(whole, length >= 2880 + 30, "{length}");
    }
    let mut two = bytes.clone();
    let extension: String = [
        "XTENSION= 'IMAGE   '",
        "BITPIX  =                    8",
        "NAXIS   =                    1",
        "NAXIS1  =                  100",
        "PCOUNT  =                    0",
        "GCOUNT  =                    1",
        "END",
    ]
    .map(card)
    .concat();
    two.extend(extension.as_bytes());
    two.resize(3 * 2880, b' ');
    two.extend([1u8; 99]);
    assert_eq!(wholeness(&two), Some(false), "the extension lacks a byte");
    two.push(1);
    assert_eq!(wholeness(&two), Some(true));
    assert_eq!(wholeness(b"II*\0 a TIFF says nothing"), None);
}

struct Follower {
    folder: Folder,
    root: tempfile::TempDir,
    now: SystemTime,
}

impl Follower {
    fn new() -> Follower {
        let root = tempfile::tempdir().unwrap();
        Follower {
            folder: Folder::new(root.path(), UNIX_EPOCH, &[]),
            root,
            now: SystemTime::now(),
        }
    }

    fn put(&self, name: &str, bytes: &[u8]) {
        let path = self.root.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }

    /// All that comes after some seconds have gone by.
    fn after(&mut self, seconds: f64) -> Vec<String> {
        self.now += Duration::from_secs_f64(seconds);
        let mut names = Vec::new();
        while let Some(arrival) = self.folder.next(self.now).unwrap() {
            names.push(match arrival {
                Arrival::Whole(file, _) => file.file.replace('\\', "/"),
                Arrival::Unreadable(file, why) => format!("{}: {why}", file.file),
            });
        }
        names
    }
}

#[test]
fn each_whole_file_comes_once_whatever_it_is_called_later() {
    let mut camera = Follower::new();
    camera.put("2026-11-30/one.fits", &fits());
    camera.put("notes.txt", b"no picture");
    camera.put(".two.fits", &fits());
    assert_eq!(camera.after(0.0), ["2026-11-30/one.fits"]);
    let root = camera.root.path().to_owned();
    fs::rename(root.join("2026-11-30/one.fits"), root.join("renamed.fits")).unwrap();
    camera.put("copy.fit", &fits());
    assert!(
        camera.after(30.0).is_empty(),
        "the same content is no new frame"
    );
    let mut other = fits();
    other[2900] = 8;
    camera.put("renamed.fits", &other);
    let again = File::options()
        .write(true)
        .open(root.join("renamed.fits"))
        .unwrap();
    again
        .set_modified(SystemTime::now() + Duration::from_secs(1))
        .unwrap();
    assert_eq!(
        camera.after(0.1),
        ["renamed.fits"],
        "written over: a new frame"
    );
}

#[test]
fn a_file_in_pieces_waits_until_it_is_whole() {
    let mut camera = Follower::new();
    let bytes = fits();
    let path = camera.root.path().join("slow.fits");
    let mut file = File::create(&path).unwrap();
    for piece in bytes[..2900].chunks(700) {
        file.write_all(piece).unwrap();
        assert!(camera.after(0.5).is_empty());
    }
    file.write_all(&bytes[2900..]).unwrap();
    assert_eq!(camera.after(0.5), ["slow.fits"]);
}

/// Kinds that do not say their length rest for two seconds; what stays half or empty is given up after ten, and said.
#[test]
fn what_never_becomes_whole_is_given_up() {
    let mut camera = Follower::new();
    camera.put("a.tif", b"II*\0 some pixels");
    assert!(camera.after(0.0).is_empty());
    assert!(camera.after(1.5).is_empty());
    assert_eq!(camera.after(0.6), ["a.tif"]);
    camera.put("half.fits", &fits()[..2885]);
    camera.put("empty.png", b"");
    assert!(camera.after(0.0).is_empty() && camera.after(9.0).is_empty());
    let given_up = camera.after(1.1);
    assert_eq!(given_up.len(), 2, "{given_up:?}");
    assert!(given_up.contains(&"empty.png: it is empty".to_owned()));
    assert!(camera.after(60.0).is_empty(), "once");
}

/// What a session has on record is not offered again, and neither is what lay there before it.
#[test]
fn an_earlier_watch_has_dealt_with_its_files() {
    let mut camera = Follower::new();
    camera.put("one.fits", &fits());
    let bytes = fits();
    let file = named_file(&camera.root.path().join("one.fits"), &bytes);
    let skipped = Event {
        at: crate::night::Instant::of_seconds(1.8e9),
        what: Happening::Skipped {
            file,
            reason: "no star".into(),
        },
    };
    camera.folder = Folder::new(camera.root.path(), UNIX_EPOCH, &[skipped]);
    assert!(camera.after(1.0).is_empty());
    let later = SystemTime::now() + Duration::from_secs(60);
    camera.folder = Folder::new(camera.root.path(), later, &[]);
    assert!(camera.after(1.0).is_empty(), "older than the session");
}
