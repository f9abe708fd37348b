//! Flags of a measurement, what they mean, and which of them say "do not act on it": `is_sound` of what was measured asks here.

/// A flag.
struct Flag {
    name: &'static str,
    /// Whether what it stands beside should not be acted on.
    unsound: bool,
    meaning: &'static str,
}

const fn told(name: &'static str, meaning: &'static str) -> Flag {
    Flag {
        name,
        unsound: false,
        meaning,
    }
}

const fn unsound(name: &'static str, meaning: &'static str) -> Flag {
    Flag {
        name,
        unsound: true,
        meaning,
    }
}

/// All of them.
const FLAGS: [Flag; 47] = [
    told(
        "even_sign_open",
        "the side of focus is not known: astigmatism and spherical aberration may have the other sign",
    ),
    unsound(
        "poor_fit",
        "the model does not explain the star: check aperture, obstruction, vanes, mask, pixel size and camera.rotation_deg; stretched, two stars, trailing, a very short exposure?",
    ),
    unsound(
        "mirrored_fits_better",
        "the star fits far better as its mirror image: is camera.mirrored right, or the file flipped left to right, or camera.rotation_deg wrong?",
    ),
    unsound(
        "half_turn_fits_better",
        "the star fits far better turned by half a turn: is --side right, and camera.rotation_deg?",
    ),
    unsound(
        "upside_down_fits_better",
        "the star fits far better upside down: does the file store its rows the other way round, or are camera.mirrored and camera.rotation_deg wrong?",
    ),
    unsound(
        "very_blurred",
        "the star is blurred by more than 6 arcsec: is the pixel size right, is the file binned, did the telescope shake?",
    ),
    told(
        "rough_fit",
        "the star differs from the model by more than noise: are the dimensions right, the side, the pixel size? Is the file mirrored or binned?",
    ),
    unsound("not_settled", "the fit did not come to rest"),
    unsound(
        "coma_uncertain",
        "the frame hardly says anything about coma: expose longer, or spread the star less",
    ),
    told(
        "higher_order_modes",
        "the star shows aberrations of higher order than spherical: they were fitted too, and make coma less certain",
    ),
    told("saturated", "some pixels are full and were left out"),
    told("star_cut_by_edge", "the edge of the frame cuts the star"),
    told(
        "stars_overlap",
        "another star lies in this one, or it trailed",
    ),
    told(
        "gain_unknown",
        "electrons per count are not known: the uncertainties are too small or too large",
    ),
    told(
        "pixels_left_out",
        "hot or dead pixels, and single ones that nothing explains, were left out",
    ),
    told(
        "obstruction_aside",
        "the obstruction sits aside: its effect is told from coma",
    ),
    told(
        "lossy",
        "the file was packed with losses: use FITS, TIFF or PNG",
    ),
    told(
        "eight_bits",
        "eight bits a pixel are few: use the camera's own file",
    ),
    told(
        "perhaps_not_linear",
        "the file may have been stretched: use the camera's own file",
    ),
    told(
        "interpolated_colour",
        "colours were filled in by a program: the green ones are used",
    ),
    told("travel_limits", "the travel of the screws limits the turns"),
    told(
        "screw_positions_assumed",
        "the travel is counted from the nominal length of the screws",
    ),
    unsound(
        "few_stars",
        "too few stars that are whole, alone and bright enough",
    ),
    told(
        "plane_not_found",
        "the stars' sizes do not tell the tilt of the focal plane",
    ),
    told("plane_flat", "no tilt of the focal plane is seen"),
    told(
        "sign_open",
        "which side of the sensor sits outside focus stays open: say --side, or look at the corners at another focus",
    ),
    told(
        "node_not_found",
        "the stars are too sharp or too alike to show where coma vanishes",
    ),
    told("node_far_outside", "coma vanishes far outside the sensor"),
    told(
        "no_response",
        "what a tilt does to coma is not known: skewstar learn, or [assembly.response]",
    ),
    told(
        "no_field_coma",
        "how coma grows over the field is not known: type telescope.field.coma_nm_per_mm",
    ),
    unsound(
        "growth_differs",
        "coma grows over the field otherwise than [telescope.field] says: the place without coma is uncertain",
    ),
    unsound(
        "sizes_off_model",
        "the stars' sizes do not follow a tilted plane: near focus the telescope's own aberrations hide it; go some tens of micrometres outside focus, and say --side outside",
    ),
    unsound(
        "asymmetries_off_model",
        "the stars' asymmetries do not follow coma that grows from one place: go some tens of micrometres outside focus, and say --side outside",
    ),
    told(
        "response_mirror_open",
        "the learned response leaves open whether the camera's picture is mirrored, and with it which screw to turn: learn once more with a second screw",
    ),
    told(
        "response_half_turn_open",
        "the learned response leaves open whether the camera stands half a turn round: turns do not depend on it, shadows of vanes and masks do",
    ),
    told(
        "response_trials_disagree",
        "the trial turns that the response was learned from do not agree with one another",
    ),
    told(
        "frame_size_differs",
        "the frame has not the size of camera.width_px and camera.height_px: places in the field are counted from the middle of the frame",
    ),
    told(
        "pixel_size_differs",
        "the file gives another pixel size than camera.pixel_um",
    ),
    told(
        "grey_saved_as_colour",
        "the picture is grey, saved three times over: one of the three is used",
    ),
    told(
        "turned_by_viewers",
        "viewers turn this picture by a note in the file; here it stands as it is stored, so directions may be turned",
    ),
    told(
        "transparency_ignored",
        "the transparency of the picture was not looked at",
    ),
    told(
        "colour_filter_array",
        "the colours of a filter array are still mixed in the picture: describe it by camera.colour_pattern, or hand in one colour",
    ),
    told(
        "focus_response_unknown",
        "what the piston does to focus is not known: type assembly.response.focus_um_per_mm",
    ),
    told(
        "image_shift_unknown",
        "how far a tilt moves the star is not known: type assembly.response.image_shift_um_per_arcmin",
    ),
    told(
        "mirror_open",
        "whether the camera's picture is mirrored stays open: turn a second screw that is not opposite",
    ),
    told(
        "half_turn_open",
        "whether the camera stands half a turn round stays open",
    ),
    told(
        "trials_disagree",
        "the trial turns do not agree with one another: was the play out, did the telescope stay on the star?",
    ),
];

/// What a flag means.
pub fn flag_in_words(flag: &str) -> &'static str {
    known(flag).map_or("its meaning is in DEVELOPERS.md, \"Measuring\"", |known| {
        known.meaning
    })
}

/// Whether a flag says "do not act on it".
pub(super) fn is_unsound(flag: &str) -> bool {
    known(flag).is_some_and(|known| known.unsound)
}

/// Whether none of the flags says "do not act on it".
pub(super) fn all_sound(flags: &[String]) -> bool {
    !flags.iter().any(|flag| is_unsound(flag))
}

fn known(flag: &str) -> Option<&'static Flag> {
    FLAGS.iter().find(|known| known.name == flag)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_flag_stands_once() {
        for (at, Flag { name, meaning, .. }) in FLAGS.iter().enumerate() {
            assert!(
                FLAGS[..at].iter().all(|other| other.name != *name),
                "{name}"
            );
            assert_eq!(flag_in_words(name), *meaning);
        }
    }
}
