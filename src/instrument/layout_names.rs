//! What may stand at `mask.layout`, and which keys of `[mask]` each layout looks at.

use super::{MaskLayout, SlotLayout};

/// A word at `mask.layout`: one of the layouts made of slots, or one of three that are described elsewhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LayoutName {
    /// A layout made of slots.
    Slots(&'static SlotLayout),
    /// Round holes, listed by their owner.
    Holes,
    /// Regions of slots, listed by their owner.
    Regions,
    /// A drawing.
    Drawing,
}

/// A key of `[mask]` that only some layouts look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LayoutKey {
    /// `slot_pitch_mm`
    SlotPitch,
    /// `open_fraction`
    OpenFraction,
    /// `slant_deg`
    Slant,
    /// `sense`
    Sense,
    /// `zone_radius_mm`
    ZoneRadius,
    /// `holes`
    Holes,
    /// `regions`
    Regions,
    /// `drawing`
    Drawing,
    /// `drawing_fills`
    DrawingFills,
    /// `drawing_centre_mm`
    DrawingCentre,
    /// `drawing_mm_per_unit`
    DrawingUnit,
}

/// What a layout does with a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyUse {
    /// It cannot do without.
    Needed,
    /// It may be there and may be left out.
    Optional,
    /// It says nothing with this layout, and is refused.
    Idle,
}

impl LayoutName {
    /// Every name, in the order in which they are offered.
    pub fn all() -> impl Iterator<Item = LayoutName> {
        let others = [LayoutName::Holes, LayoutName::Regions, LayoutName::Drawing];
        SlotLayout::all().map(LayoutName::Slots).chain(others)
    }

    /// The layout of a word.
    pub fn find(word: &str) -> Option<LayoutName> {
        LayoutName::all().find(|name| name.word() == word)
    }

    /// What stands in the file.
    pub fn word(self) -> &'static str {
        match self {
            LayoutName::Slots(layout) => layout.word,
            LayoutName::Holes => "holes",
            LayoutName::Regions => "regions",
            LayoutName::Drawing => "drawing",
        }
    }

    /// What the layout is, and what it shows and hides where that is known, in whole sentences.
    pub fn words(self) -> String {
        match self {
            LayoutName::Slots(layout) => layout.words(),
            LayoutName::Holes => "holes: round holes, listed one by one.".to_owned(),
            LayoutName::Regions => "regions: wedges of slots, listed one by one.".to_owned(),
            LayoutName::Drawing => "drawing: whatever an SVG or DXF file shows.".to_owned(),
        }
    }

    /// Its entry in the table of layouts made of slots.
    pub fn slots(self) -> Option<&'static SlotLayout> {
        match self {
            LayoutName::Slots(layout) => Some(layout),
            LayoutName::Holes | LayoutName::Regions | LayoutName::Drawing => None,
        }
    }

    /// What the layout does with a key.
    pub fn use_of(self, key: LayoutKey) -> KeyUse {
        let slots = self.slots();
        let (used, wanted) = match key {
            LayoutKey::SlotPitch | LayoutKey::OpenFraction => (slots.is_some(), KeyUse::Needed),
            // a mask of slots keeps its slant when its layout is tried out against one whose slots do not lean
            LayoutKey::Slant if slots.is_some_and(SlotLayout::leans) => (true, KeyUse::Needed),
            LayoutKey::Slant => (slots.is_some(), KeyUse::Optional),
            LayoutKey::Sense => (true, KeyUse::Optional),
            LayoutKey::ZoneRadius => (slots.is_some_and(SlotLayout::has_zones), KeyUse::Needed),
            LayoutKey::Holes => (self == LayoutName::Holes, KeyUse::Needed),
            LayoutKey::Regions => (self == LayoutName::Regions, KeyUse::Needed),
            LayoutKey::Drawing => (self == LayoutName::Drawing, KeyUse::Needed),
            LayoutKey::DrawingFills | LayoutKey::DrawingCentre | LayoutKey::DrawingUnit => {
                (self == LayoutName::Drawing, KeyUse::Optional)
            }
        };
        if used { wanted } else { KeyUse::Idle }
    }
}

impl LayoutKey {
    /// Every key that only some layouts look at.
    pub const ALL: [LayoutKey; 11] = [
        LayoutKey::Holes,
        LayoutKey::Regions,
        LayoutKey::Drawing,
        LayoutKey::SlotPitch,
        LayoutKey::OpenFraction,
        LayoutKey::Slant,
        LayoutKey::Sense,
        LayoutKey::ZoneRadius,
        LayoutKey::DrawingFills,
        LayoutKey::DrawingCentre,
        LayoutKey::DrawingUnit,
    ];

    /// The key as it is typed under `[mask]`.
    pub fn word(self) -> &'static str {
        match self {
            LayoutKey::SlotPitch => "slot_pitch_mm",
            LayoutKey::OpenFraction => "open_fraction",
            LayoutKey::Slant => "slant_deg",
            LayoutKey::Sense => "sense",
            LayoutKey::ZoneRadius => "zone_radius_mm",
            LayoutKey::Holes => "holes",
            LayoutKey::Regions => "regions",
            LayoutKey::Drawing => "drawing",
            LayoutKey::DrawingFills => "drawing_fills",
            LayoutKey::DrawingCentre => "drawing_centre_mm",
            LayoutKey::DrawingUnit => "drawing_mm_per_unit",
        }
    }

    /// The layouts that it may be given with.
    pub fn layouts(self) -> impl Iterator<Item = LayoutName> {
        LayoutName::all().filter(move |name| name.use_of(self) != KeyUse::Idle)
    }
}

impl MaskLayout {
    /// Its name.
    pub fn name(&self) -> LayoutName {
        match self {
            MaskLayout::Slots(layout) => LayoutName::Slots(layout),
            MaskLayout::Holes(_) => LayoutName::Holes,
            MaskLayout::Regions(_) => LayoutName::Regions,
            MaskLayout::Drawing(_) => LayoutName::Drawing,
        }
    }

    /// Its entry in the table of layouts made of slots.
    pub fn slots(&self) -> Option<&'static SlotLayout> {
        self.name().slots()
    }
}
