//! The mask layouts that are made of slots, each once: its word, its slots, its words for people, its part in `mask tune`.
//!
//! Everything that depends on a layout is read off its entry here: its regions and triplets (`mask`), the keys of a scenario
//! that it looks at and the names that are offered ([`LayoutName`](super::LayoutName)), the candidates and labels of
//! `mask tune` (`preview::search`), the words of `mask check`. A new layout is one new entry; the unit tests of
//! `preview::view` work out whether what it claims to show is true.

use super::MaskLayout;
use std::fmt;

/// A layout made of slots: a few wedges, repeated at one or more directions.
#[derive(Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct SlotLayout {
    /// What stands at `mask.layout`.
    pub word: &'static str,
    /// How the slots are arranged, without a full stop; it reads after the word and a colon.
    pub arrangement: &'static str,
    /// The [`ABERRATIONS`] that move a middle spike against its partners' crossing by at least a third of what the strongest
    /// of them does; of two modes with one name the one that shows more counts.
    pub crossing_shows: &'static [&'static str],
    /// The [`ABERRATIONS`] that part parallel spikes by at least a third of what the strongest of them does.
    pub separation_shows: &'static [&'static str],
    /// Whether `mask tune` compares with it as it is, with the owner's own numbers.
    pub customary: bool,
    /// Whether `mask tune` looks for better numbers for it: zone radius and slant where it has them, then pitches, sense, rims.
    pub searched: bool,
    /// The directions c, in degrees, at each of which all the wedges are repeated.
    pub directions_deg: &'static [f64],
    /// The wedges at one direction, in the order in which regions are numbered.
    pub wedges: &'static [Wedge],
}

/// An annular wedge of parallel slots, seen from a direction c of its layout.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Wedge {
    /// First and last azimuth, counted from c.
    pub azimuth_deg: [f64; 2],
    /// Between which radii.
    pub zone: Zone,
    /// Direction along the slots.
    pub slots: SlotAngle,
    /// Which of the pitches of the scenario.
    pub pitch: WedgePitch,
}

/// The part of the plate, from hole to edge, that a wedge lies in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zone {
    /// All of it.
    Whole,
    /// Beyond `zone_radius_mm`.
    Outer,
    /// Within `zone_radius_mm`.
    Inner,
}

/// Direction along the slots of a wedge: c + `base_deg` + `leans` · slant, the slant with its sense.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotAngle {
    /// From c, without the slant.
    pub base_deg: f64,
    /// How many slants are added.
    pub leans: i8,
}

/// Which value of `slot_pitch_mm` a wedge has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WedgePitch {
    /// The first.
    First,
    /// The second; the first where there is one only.
    Second,
}

/// The aberrations that an entry says are shown or not, as `preview::view::name` calls them.
pub const ABERRATIONS: [&str; 5] = ["focus", "astigmatism", "coma", "trefoil", "spherical"];

use WedgePitch::{First, Second};
use Zone::{Inner, Outer, Whole};

/// The three directions of the layouts with three triplets.
const THREE_DEG: &[f64] = &[90.0, 210.0, 330.0];
/// The middles of six wedges that begin at azimuth 0.
const SIX_DEG: &[f64] = &[30.0, 90.0, 150.0, 210.0, 270.0, 330.0];

const STRAIGHT: SlotAngle = turned(0.0, 0);
const LEFT: SlotAngle = turned(0.0, 1);
const RIGHT: SlotAngle = turned(0.0, -1);
const TANGENT: SlotAngle = turned(90.0, 0);

const fn turned(base_deg: f64, leans: i8) -> SlotAngle {
    SlotAngle { base_deg, leans }
}

const fn wedge(azimuth_deg: [f64; 2], zone: Zone, slots: SlotAngle, pitch: WedgePitch) -> Wedge {
    Wedge {
        azimuth_deg,
        zone,
        slots,
        pitch,
    }
}

/// Makes of every entry a constant of [`MaskLayout`], and of all of them the list [`SlotLayout::all`].
macro_rules! slot_layouts {
    ($($(#[$doc:meta])* $name:ident = $entry:expr;)+) => {
        impl MaskLayout {
            $($(#[$doc])* pub const $name: MaskLayout = MaskLayout::Slots(&$entry);)+
        }

        /// Every layout made of slots, in the order in which they are offered.
        const TABLE: &[MaskLayout] = &[$(MaskLayout::$name),+];
    };
}

slot_layouts! {
    /// One half with straight slots, the two opposite quarters slanted.
    ONE_TRIPLET = SlotLayout {
        word: "one-triplet",
        arrangement: "straight slots in one half, slots that lean either way in the two opposite quarters",
        crossing_shows: &["focus", "astigmatism", "spherical"],
        separation_shows: &[],
        customary: true,
        searched: false,
        directions_deg: &[90.0],
        wedges: &[
            wedge([-90.0, 90.0], Whole, STRAIGHT, First),
            wedge([90.0, 180.0], Whole, LEFT, First),
            wedge([180.0, 270.0], Whole, RIGHT, First),
        ],
    };
    /// Three triplets, 120 degrees apart.
    THREE_TRIPLET = SlotLayout {
        word: "three-triplet",
        arrangement: "three triplets, 120 degrees apart, each with straight slots on one side and slots that lean either way opposite",
        crossing_shows: &["focus", "astigmatism", "spherical"],
        separation_shows: &[],
        customary: true,
        searched: true,
        directions_deg: THREE_DEG,
        wedges: &[
            wedge([-30.0, 30.0], Whole, STRAIGHT, First),
            wedge([180.0, 210.0], Whole, LEFT, First),
            wedge([150.0, 180.0], Whole, RIGHT, First),
        ],
    };
    /// Straight slots in an outer zone, slanted ones in an inner zone.
    TWO_ZONE = SlotLayout {
        word: "two-zone",
        arrangement: "three triplets, with straight slots in an outer zone and slots that lean either way in an inner one",
        crossing_shows: &["coma", "trefoil"],
        separation_shows: &["focus", "astigmatism", "spherical"],
        customary: true,
        searched: true,
        directions_deg: THREE_DEG,
        wedges: &[
            wedge([-30.0, 30.0], Outer, STRAIGHT, First),
            wedge([150.0, 210.0], Outer, STRAIGHT, First),
            wedge([60.0, 90.0], Inner, LEFT, Second),
            wedge([-90.0, -60.0], Inner, LEFT, Second),
            wedge([90.0, 120.0], Inner, RIGHT, Second),
            wedge([-120.0, -90.0], Inner, RIGHT, Second),
        ],
    };
    /// As `TWO_ZONE`, but opposite outer wedges have different pitches, so that a split spike says which part is which.
    TWO_PITCH = SlotLayout {
        word: "two-pitch",
        arrangement: "as two-zone, but every other outer wedge has the second pitch",
        crossing_shows: &["coma", "trefoil"],
        separation_shows: &["focus", "astigmatism", "spherical"],
        customary: false,
        searched: true,
        directions_deg: THREE_DEG,
        wedges: &[
            wedge([-30.0, 30.0], Outer, STRAIGHT, First),
            wedge([150.0, 210.0], Outer, STRAIGHT, Second),
            wedge([60.0, 90.0], Inner, LEFT, Second),
            wedge([-90.0, -60.0], Inner, LEFT, Second),
            wedge([90.0, 120.0], Inner, RIGHT, Second),
            wedge([-120.0, -90.0], Inner, RIGHT, Second),
        ],
    };
    /// Slots along the tangent in six wedges, each in two zones.
    TANGENT_WEDGES = SlotLayout {
        word: "tangent-wedges",
        arrangement: "slots along the tangent in six wedges, each in two zones",
        crossing_shows: &[],
        separation_shows: &["astigmatism", "coma"],
        customary: false,
        searched: true,
        directions_deg: SIX_DEG,
        wedges: &[
            wedge([-30.0, 30.0], Outer, TANGENT, First),
            wedge([-30.0, 30.0], Inner, TANGENT, Second),
        ],
    };
}

impl SlotLayout {
    /// Every layout made of slots, in the order in which they are offered.
    pub fn all() -> impl Iterator<Item = &'static SlotLayout> {
        TABLE.iter().filter_map(MaskLayout::slots)
    }

    /// Whether there is an outer and an inner zone.
    pub fn has_zones(&self) -> bool {
        self.wedges.iter().any(|wedge| wedge.zone != Zone::Whole)
    }

    /// Whether some slots lean by the slant.
    pub fn leans(&self) -> bool {
        self.wedges.iter().any(|wedge| wedge.slots.leans != 0)
    }

    /// Whether it looks at a second pitch.
    pub fn has_two_pitches(&self) -> bool {
        self.wedges
            .iter()
            .any(|wedge| wedge.pitch == WedgePitch::Second)
    }

    /// Whether some parallel spikes have a pitch each, so that they can be told apart once they part.
    pub fn parallel_spikes_differ(&self) -> bool {
        let with = |pitch| self.wedges.iter().filter(move |wedge| wedge.pitch == pitch);
        with(WedgePitch::First).any(|a| with(WedgePitch::Second).any(|b| a.slots == b.slots))
    }

    /// What the layout is, what it shows an eye and what it hides, in whole sentences.
    pub fn words(&self) -> String {
        let mut shown: Vec<String> = Vec::new();
        if !self.crossing_shows.is_empty() {
            shown.push(format!(
                "{}, by the middle spike against the crossing of its two partners",
                listed(self.crossing_shows)
            ));
        }
        if !self.separation_shows.is_empty() {
            let tells = if self.parallel_spikes_differ() {
                "; two pitches say which spike is which"
            } else {
                ", without saying which way"
            };
            shown.push(format!(
                "{}, by parallel spikes that move apart{tells}",
                listed(self.separation_shows)
            ));
        }
        let seen = [self.crossing_shows, self.separation_shows].concat();
        let hidden: Vec<&str> = ABERRATIONS
            .into_iter()
            .filter(|name| !seen.contains(name))
            .collect();
        let mut sentences = vec![format!("{}: {}.", self.word, self.arrangement)];
        if !shown.is_empty() {
            sentences.push(format!("What an eye sees in it: {}.", shown.join("; ")));
        }
        if !hidden.is_empty() {
            sentences.push(format!("What it hides: {}.", listed(&hidden)));
        }
        sentences.join(" ")
    }
}

/// The name alone: what an entry holds is long, and the same wherever the name is.
impl fmt::Debug for SlotLayout {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.word)
    }
}

/// "a", "a and b", "a, b and c".
fn listed(words: &[&str]) -> String {
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => (*last).to_owned(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a scenario must give for each layout: a list written by hand, beside the table.
    #[test]
    fn zones_slants_and_pitches_are_those_of_the_wedges() {
        let facts: Vec<(&str, [bool; 4])> = SlotLayout::all()
            .map(|l| {
                let two = [l.has_two_pitches(), l.parallel_spikes_differ()];
                (l.word, [l.has_zones(), l.leans(), two[0], two[1]])
            })
            .collect();
        let named = [
            ("one-triplet", [false, true, false, false]),
            ("three-triplet", [false, true, false, false]),
            ("two-zone", [true, true, true, false]),
            ("two-pitch", [true, true, true, true]),
            ("tangent-wedges", [true, false, true, true]),
        ];
        for wanted in named {
            assert!(facts.contains(&wanted), "{wanted:?} in {facts:?}");
        }
    }

    /// An entry that opened a part of the plate twice would count its light twice.
    #[test]
    fn the_wedges_of_every_layout_fill_each_zone_once() {
        for layout in SlotLayout::all() {
            for zone in [Outer, Inner] {
                for tenth in 0..3600 {
                    let azimuth_deg = 0.1 * f64::from(tenth) + 0.05;
                    let count = layout
                        .directions_deg
                        .iter()
                        .flat_map(|c| layout.wedges.iter().map(move |wedge| (c, wedge)))
                        .filter(|(_, wedge)| wedge.zone == zone || wedge.zone == Whole)
                        .filter(|(c, wedge)| {
                            let [from, to] = wedge.azimuth_deg;
                            (azimuth_deg - *c - from).rem_euclid(360.0) < to - from
                        })
                        .count();
                    assert!(
                        count <= 1,
                        "{layout:?}: {count} wedges at azimuth {azimuth_deg} in zone {zone:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn every_layout_has_a_word_and_words_of_its_own() {
        let words: Vec<&str> = SlotLayout::all().map(|l| l.word).collect();
        for (at, layout) in SlotLayout::all().enumerate() {
            assert!(!words[..at].contains(&layout.word), "{layout:?} twice");
            assert!(!layout.arrangement.is_empty() && !layout.arrangement.ends_with('.'));
            let shows = [layout.crossing_shows, layout.separation_shows].concat();
            assert!(shows.iter().all(|name| ABERRATIONS.contains(name)));
        }
        let MaskLayout::Slots(two_zone) = MaskLayout::TWO_ZONE else {
            panic!("a layout made of slots");
        };
        assert!(two_zone.words().starts_with("two-zone: three triplets"));
    }
}
