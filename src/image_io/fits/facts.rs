//! What the cards of a FITS file say about the camera. A card that cannot be meant is left out with a warning, never put right.

use super::mosaic::{MosaicCards, filters};
use super::{BOTTOM_UP, FitsError, TOP_DOWN};
use fits_well::header::Header;
use fits_well::io::SliceReader;

/// What the headers say: the image's own first, then the primary one.
pub(super) struct Facts {
    headers: Vec<Header>,
    pub warnings: Vec<String>,
}

impl Facts {
    pub fn gather(reader: &SliceReader<'_>, index: usize) -> Facts {
        let hdus = reader.hdus();
        let own = hdus.get(index).map(|hdu| hdu.header.clone());
        let primary = if index == 0 {
            None
        } else {
            hdus.first().map(|hdu| hdu.header.clone())
        };
        let headers: Vec<Header> = own.into_iter().chain(primary).collect();
        let mut warnings = Vec::new();
        let repairs: usize = headers.iter().map(|header| header.repairs().len()).sum();
        if repairs > 0 {
            warnings.push(format!(
                "{repairs} header cards break the FITS standard and were read as they were meant"
            ));
        }
        if let Some(defect) = reader.scan_defect() {
            warnings.push(format!(
                "what follows the image could not be read: {defect}"
            ));
        }
        Facts { headers, warnings }
    }

    pub fn top_row_first(&mut self) -> Result<bool, FitsError> {
        let Some(value) = self.text("ROWORDER") else {
            return Ok(false);
        };
        match value.to_ascii_uppercase().as_str() {
            BOTTOM_UP => Ok(false),
            TOP_DOWN => Ok(true),
            _ => Err(FitsError::RowOrder { value }),
        }
    }

    /// The filter array, as written and by what it says; neither where no card speaks of one.
    pub fn mosaic(&mut self) -> (Option<String>, Option<MosaicCards>) {
        let Some(card) = self.text("BAYERPAT").or_else(|| self.colour_type()) else {
            return (None, None);
        };
        let Some(pattern) = filters(&card) else {
            self.warnings.push(format!(
                "the card BAYERPAT says {card:?}, which is no pattern of one R, two G and one B; it is not used"
            ));
            return (Some(card), None);
        };
        let offset_px = ["XBAYROFF", "YBAYROFF"].map(|keyword| self.whole(keyword));
        (Some(card), Some(MosaicCards { pattern, offset_px }))
    }

    /// COLORTYP, where it names a filter array; other values tell of other things.
    fn colour_type(&mut self) -> Option<String> {
        let card = self.text("COLORTYP")?;
        filters(&card).map(|_| card)
    }

    /// A whole number, 0 where there is none; anything else is left out with a warning.
    fn whole(&mut self, keyword: &str) -> i64 {
        let number = self
            .value(keyword, |header| header.get_real(keyword))
            .unwrap_or(0.0);
        if number.fract() == 0.0 && number.abs() < 1e9 {
            return number as i64;
        }
        self.warnings.push(format!(
            "the card {keyword} says {number}, which is no whole number of pixels; it is not used"
        ));
        0
    }

    /// Whether packing lost something: floating point that was rounded to steps, or the method that keeps outlines only.
    pub fn packed_with_losses(&mut self, floating: bool) -> bool {
        let method = self.tile_method();
        let rounds = self.text("ZQUANTIZ").is_none_or(|how| how != "NONE");
        let steps = self
            .value("ZVAL1", |header| header.get_real("ZVAL1"))
            .unwrap_or(0.0);
        match method.as_deref() {
            Some("HCOMPRESS_1") => floating || steps > 0.0,
            Some("GZIP_1" | "GZIP_2") => floating && rounds && self.has_steps(),
            Some(_) => floating,
            None => false,
        }
    }

    /// How the image is packed in tiles: ZCMPTYPE.
    pub fn tile_method(&mut self) -> Option<String> {
        self.text("ZCMPTYPE")
    }

    /// Whether there are steps of rounding, one a tile or one for all.
    fn has_steps(&mut self) -> bool {
        let columns = (1..=9).map(|number| format!("TTYPE{number}"));
        let named: Vec<String> = columns.filter_map(|keyword| self.text(&keyword)).collect();
        named.iter().any(|name| name == "ZSCALE")
            || self
                .value("ZSCALE", |header| header.get_real("ZSCALE"))
                .is_some()
    }

    /// Eight bits are unsigned, sixteen are signed (FITS standard 4.0, section 4.4.1.1).
    pub fn ceiling(&mut self, bits: u32) -> Option<f64> {
        let stored = match bits {
            8 => f64::from(u8::MAX),
            16 => f64::from(i16::MAX),
            _ => return None,
        };
        let mut card = |keyword: &str| self.value(keyword, |header| header.get_real(keyword));
        let (zero, scale) = (card("BZERO").unwrap_or(0.0), card("BSCALE").unwrap_or(1.0));
        Some(zero + scale * stored).filter(|value| value.is_finite() && scale > 0.0)
    }

    /// DATE-OBS (YYYY-MM-DDThh:mm:ss[.s…], FITS standard 4.0, section 4.4.2.1) as seconds since 1970-01-01, taken as UTC. A date without a
    /// time tells nothing.
    pub fn began_s(&mut self) -> Option<f64> {
        let date = self.text("DATE-OBS").filter(|date| date.contains('T'))?;
        let date = date.trim_end_matches('Z').to_owned() + "Z";
        match date.parse::<jiff::Timestamp>() {
            Ok(at) => Some(at.as_millisecond() as f64 / 1e3),
            Err(_) => {
                self.warnings.push(format!(
                    "the card DATE-OBS says {date:?}, which is no time; it is not used"
                ));
                None
            }
        }
    }

    /// Whether the sky is mirrored in the rows as the file stores them: where the standard's linear terms turn east anticlockwise from north,
    /// as on the sky, it is not. `None` where no card says how the sky lies. (FITS standard 4.0, section 8, from memory: CDi_j, else
    /// CDELTi with PCi_j or CROTA2, which do not change the sense.)
    pub fn sky_mirrored(&mut self) -> Option<bool> {
        let axes = ["CTYPE1", "CTYPE2"].map(|keyword| self.text(keyword));
        let east_first =
            match axes.map(|axis| axis.map(|name| name.chars().take(2).collect::<String>())) {
                [Some(first), Some(second)] if first == "RA" && second == "DE" => true,
                [Some(first), Some(second)] if first == "DE" && second == "RA" => false,
                _ => return None,
            };
        let sense = self
            .sense_of_matrix(["CD1_1", "CD1_2", "CD2_1", "CD2_2"], 0.0)
            .or_else(|| {
                let turned = self
                    .sense_of_matrix(["PC1_1", "PC1_2", "PC2_1", "PC2_2"], 1.0)
                    .unwrap_or(1.0);
                let steps = ["CDELT1", "CDELT2"].map(|keyword| self.number(keyword));
                Some(steps[0]? * steps[1]? * turned)
            })?;
        if !sense.is_finite() || sense == 0.0 {
            self.warnings.push("the cards of the sky's axes (CTYPE1 and those that go with it) give no plane; they are not used".into());
            return None;
        }
        Some((sense > 0.0) == east_first)
    }

    /// Determinant of a matrix of cards, where any of them is there; absent ones are 0, on the diagonal `diagonal`.
    fn sense_of_matrix(&mut self, keywords: [&str; 4], diagonal: f64) -> Option<f64> {
        let cards = keywords.map(|keyword| self.number(keyword));
        if cards.iter().all(Option::is_none) {
            return None;
        }
        let [a, b, c, d] = [
            cards[0].unwrap_or(diagonal),
            cards[1].unwrap_or(0.0),
            cards[2].unwrap_or(0.0),
            cards[3].unwrap_or(diagonal),
        ];
        Some(a * d - b * c)
    }

    fn number(&mut self, keyword: &str) -> Option<f64> {
        self.value(keyword, |header| header.get_real(keyword))
    }

    pub fn warn_of_oblong_pixels(&mut self, across_um: Option<f64>) {
        let (Some(across_um), Some(along_um)) = (across_um, self.positive("YPIXSZ")) else {
            return;
        };
        if (across_um - along_um).abs() > 1e-6 * across_um {
            self.warnings.push(format!(
                "pixels are not square: XPIXSZ is {across_um}, YPIXSZ is {along_um}; only XPIXSZ is used"
            ));
        }
    }

    /// Text of a card without blanks at its ends; `None` when it is absent, empty or not text.
    pub fn text(&mut self, keyword: &str) -> Option<String> {
        let text = self.value(keyword, |header| {
            header.get_text(keyword).map(|text| text.map(str::to_owned))
        })?;
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// A number above zero; anything else is left out with a warning.
    pub fn positive(&mut self, keyword: &str) -> Option<f64> {
        let number = self.value(keyword, |header| header.get_real(keyword))?;
        if number.is_finite() && number > 0.0 {
            return Some(number);
        }
        self.warnings.push(format!(
            "the card {keyword} says {number}, which must be above 0; it is not used"
        ));
        None
    }

    fn value<T>(
        &mut self,
        keyword: &str,
        get: impl Fn(&Header) -> fits_well::Result<Option<T>>,
    ) -> Option<T> {
        for header in &self.headers {
            match get(header) {
                Ok(Some(value)) => return Some(value),
                Ok(None) => {}
                Err(error) => {
                    self.warnings.push(format!(
                        "the card {keyword} could not be read and is not used: {error}"
                    ));
                    return None;
                }
            }
        }
        None
    }
}
