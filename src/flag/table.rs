//! The table of flags: each with its name in files, `sound` or `unsound` (a result that carries it must not be acted on), who
//! raises it, what it means, and what to do next. A flag is added here, in one place, and raised where it is found.

use super::RaisedBy;

/// What is said of a flag.
pub(super) struct FlagRow {
    pub name: &'static str,
    pub sound: bool,
    pub raised_by: &'static [RaisedBy],
    pub meaning: &'static str,
    pub remedy: &'static str,
}

/// `Variant(type = example) "name" sound [Who …] "Meaning." "Remedy."`; the type and the number that stands for all others in
/// [`Flag::ALL`] where the flag has a number.
macro_rules! flags {
    ($($flag:ident $(($number:ty = $example:literal))? $name:literal $sound:ident [$($who:ident)+] $meaning:literal $remedy:literal)+) => {
        /// What a result, an image file or a truth carries so that its reader knows how far it goes.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Flag {
            $(#[doc = $meaning] $flag $(($number))?,)+
        }

        impl Flag {
            /// Every flag once, in the order of the list in DEVELOPERS.md; one with a number stands for all numbers.
            pub const ALL: &[Flag] = &[$(Flag::$flag $(($example))?),+];

            pub(super) fn row(self) -> &'static FlagRow {
                match self {
                    $(Flag::$flag { .. } => &FlagRow {
                        name: $name,
                        sound: flags!(@ $sound),
                        raised_by: &[$(RaisedBy::$who),+],
                        meaning: $meaning,
                        remedy: $remedy,
                    },)+
                }
            }
        }
    };
    (@ sound) => { true };
    (@ unsound) => { false };
}

flags! {
    // a star, measured
    EvenSignOpen "even_sign_open" sound [Measure]
        "The frame does not tell on which side of focus it was taken, so that astigmatism and spherical aberration may have the other sign; coma is the same on both sides."
        "Say --side inside or --side outside, or measure it together with a frame at another focus (--second)."
    PoorFit "poor_fit" unsound [Measure]
        "The model does not explain the light of the star, so that its numbers say nothing about the telescope."
        "Compare aperture, obstruction, vanes, mask, pixel size and camera.rotation_deg with what was used; look whether the picture was stretched, shows two stars, is trailed, or was exposed too briefly for the atmosphere to average out."
    MirroredFitsBetter "mirrored_fits_better" unsound [Measure]
        "The star fits far better as its mirror image: camera.mirrored is wrong, or the file was flipped left to right, or camera.rotation_deg is wrong."
        "Type camera.mirrored the other way, or use the file that was not flipped, and measure again."
    HalfTurnFitsBetter "half_turn_fits_better" unsound [Measure]
        "The star fits far better turned by half a turn: it was taken on the other side of focus, or camera.rotation_deg is wrong."
        "Check --side; if it is right, type camera.rotation_deg 180 degrees further, and measure again."
    UpsideDownFitsBetter "upside_down_fits_better" unsound [Measure]
        "The star fits far better upside down: the file stores its rows the other way round, or camera.mirrored and camera.rotation_deg are wrong."
        "Type camera.mirrored the other way and camera.rotation_deg 180 degrees further, or use a file with its rows in the other order, and measure again."
    VeryBlurred "very_blurred" unsound [Measure]
        "The star is blurred by more than the atmosphere does on any night on which pictures are taken."
        "Check camera.pixel_um and whether the file is binned, let the telescope come to rest before the exposure, and expose again."
    RoughFit "rough_fit" sound [Measure]
        "The star differs from the model by more than noise; the uncertainties are wider for it."
        "Check the dimensions of the telescope, the side of focus and the pixel size, and whether the file is mirrored or binned."
    NotSettled "not_settled" unsound [Measure]
        "The fit did not come to rest, so that its numbers are only those of its last step."
        "Check the dimensions of the telescope and the side of focus, or take another frame."
    ComaUncertain "coma_uncertain" unsound [Measure]
        "The frame hardly says anything about coma: its uncertainty is too large to act on."
        "Expose longer, take a brighter star, or spread the star less by going nearer to focus."
    HigherOrderModes "higher_order_modes" sound [Measure]
        "The star shows aberrations of higher order than spherical; they were fitted too, and make coma less certain."
        "Let the telescope cool and see that no part of its optics is pinched, then measure again; what stays is the shape of the optics, which no screw changes."
    Saturated "saturated" sound [Measure Truth Field]
        "Some pixels are full (saturated), so that the light beyond what they hold is lost; a measurement leaves them out."
        "Expose for less time, or take a fainter star."
    NotLinear "not_linear" unsound [Measure]
        "The noise of the star's pixels does not grow with its light as that of photons does: the file was stretched, or its gain is far from what was typed."
        "Use the camera's own file, from before any change of contrast or gamma; if it is that file, type its camera.gain_e_per_adu, times the number of frames where several were averaged."
    StarCutByEdge "star_cut_by_edge" sound [Measure]
        "The edge of the frame cuts the star, and the part beyond it is missing."
        "Bring the star towards the middle of the frame and expose again."
    StarsOverlap "stars_overlap" sound [Measure]
        "Another star lies in this one, or the star trailed during the exposure."
        "Take a star that stands alone (--at X,Y says which), and see that the mount follows."
    GainUnknown "gain_unknown" sound [Measure]
        "How many electrons make one count is not known, so that the uncertainties are too small or too large."
        "Type camera.gain_e_per_adu with camera.quantum_efficiency and camera.read_noise_e, or use a FITS file with the card EGAIN."
    PixelsLeftOut "pixels_left_out" sound [Measure ImageFile]
        "Hot or dead pixels, pixels that hold no number, or single ones that nothing explains, were left out."
        "Nothing has to be done about a few of them; where there are many, subtract a dark frame of the same exposure first."
    ObstructionAside "obstruction_aside" sound [Measure]
        "The obstruction sits to one side of the aperture; its effect is told from coma."
        "Read obstruction_aside_mm in the report; where the telescope is built so, type it as telescope.obstruction.offset_mm."

    // turns, advised
    TravelLimits "travel_limits" sound [Measure]
        "The travel of the screws does not allow the turns as they are: they are shifted so that the focus changes too, or only a part of them is advised (reach in the report)."
        "Make the turns that are advised, refocus and look again; if the reach is below 1, have the unit shimmed by someone qualified, and never force a screw."
    ScrewPositionsAssumed "screw_positions_assumed" sound [Measure]
        "The travel is counted from the nominal length of the screws, since no frame shows how long they are now."
        "See how far each screw is from its ends before turning it, and stop where it gets stiff."

    // a whole frame, measured
    FewStars "few_stars" unsound [Measure]
        "Too few stars of the frame are whole, alone and bright enough to be measured."
        "Expose longer, or point to a field with more stars."
    PlaneNotFound "plane_not_found" sound [Measure]
        "The stars' sizes do not tell how the focal plane is tilted."
        "Go some tens of micrometres outside focus, expose again and say --side outside."
    PlaneFlat "plane_flat" sound [Measure]
        "No tilt of the focal plane is seen beyond its uncertainty."
        "Nothing has to be done; more stars or a longer exposure would show a smaller tilt."
    SignOpen "sign_open" sound [Measure]
        "Which side of the sensor sits farther outside focus stays open: the tilt of the focal plane may have the other sign."
        "Say --side, or look whether the corners get sharper or less sharp at another focus."
    NodeNotFound "node_not_found" sound [Measure]
        "The stars are too sharp or too alike to show where the field is free of coma."
        "Defocus a little, so that each star is a small ring, and expose again."
    NodeFarOutside "node_far_outside" sound [Measure]
        "The field is free of coma only far outside the sensor, so that its distance is hardly known."
        "Take coma away by a single star in the middle first (measure without --whole-frame), then look at the whole frame again."
    NoResponse "no_response" sound [Measure]
        "What a tilt of the unit does to coma is not known, so that no tilt can be told from the place without coma."
        "Learn it from trial turns (skewstar learn), or type it as [assembly.response]."
    NoFieldComa "no_field_coma" sound [Measure]
        "How coma grows over the field is not known, so that no tilt can be told from the place without coma."
        "Type telescope.field.coma_nm_per_mm."
    GrowthDiffers "growth_differs" unsound [Measure]
        "Coma grows over the field otherwise than [telescope.field] says, so that the place without coma cannot be trusted."
        "Check telescope.field.coma_nm_per_mm and camera.pixel_um; if they are right, go some tens of micrometres outside focus, expose again and say --side outside."
    SizesOffModel "sizes_off_model" unsound [Measure]
        "The stars' sizes do not follow a tilted focal plane; near focus the telescope's own aberrations hide it."
        "Go some tens of micrometres outside focus, expose again and say --side outside."
    AsymmetriesOffModel "asymmetries_off_model" unsound [Measure]
        "The stars' asymmetries do not follow coma that grows from one place."
        "Go some tens of micrometres outside focus, expose again and say --side outside."

    // frame and response against the instrument
    FrameSizeDiffers "frame_size_differs" sound [Measure]
        "The frame has not the size of camera.width_px and camera.height_px, so that its place on the sensor is not known: one star is taken to be on the axis, and places in a whole frame are counted from its middle."
        "Use the whole frame as the camera saved it, or type the size that it has."
    ResponseMirrorOpen "response_mirror_open" sound [Measure]
        "The learned response leaves open whether the camera's picture is mirrored, and with it what other screws than those that were tried would do."
        "Turn as advised, or try a second screw that is not opposite the first, and learn once more (skewstar learn)."
    ResponseTrialsDisagree "response_trials_disagree" sound [Measure]
        "The trial turns that the response was learned from do not agree with one another, so that the turns advised from it may be off by as much."
        "Learn once more: take up the backlash of each screw first, and turn it by exactly what is typed."
    FocusResponseUnknown "focus_response_unknown" sound [Measure]
        "What moving the unit along the axis does to focus is not known, so that the advice does not tell how the focus changes."
        "Type assembly.response.focus_um_per_mm."
    ImageShiftUnknown "image_shift_unknown" sound [Measure]
        "How far a tilt moves the star is not known, so that the advice does not tell where the star goes."
        "Type assembly.response.image_shift_um_per_arcmin, or learn from frames between which the star was not brought back."

    // a response, learned
    MirrorOpen "mirror_open" sound [Learn]
        "Whether the camera's picture is mirrored stays open: the screws that were turned do not tell."
        "Try a second screw that is not opposite the first, and learn from both."
    Recentred "recentred" sound [Learn]
        "The star stayed in its place, so that how far a tilt moves it was not learned."
        "Nothing has to be done to have turns advised; to learn it too, do not bring the star back between the two frames of a trial."
    ShiftUnsteady "shift_unsteady" sound [Learn]
        "The star moved otherwise than a tilt moves it, so that how far a tilt moves it is hardly known."
        "Learn again, and touch nothing but the screw between the two frames of a trial."
    TrialsDisagree "trials_disagree" sound [Learn]
        "The trials agree less well than their frames are measured: the turns were not quite what was typed, or a screw slipped; the uncertainties allow for it."
        "Take up the backlash of each screw first, turn it by exactly what is typed, keep the telescope on the star, and learn again."

    // an image file, read
    Lossy "lossy" sound [ImageFile]
        "The file was packed with losses, which changes faint light and edges."
        "Use a FITS, TIFF or PNG file that the camera's values went into directly."
    EightBits "eight_bits" sound [ImageFile]
        "The file has eight bits a pixel, so that faint light is rounded off."
        "Use the camera's own file with all of its bits."
    PerhapsNotLinear "perhaps_not_linear" sound [ImageFile]
        "The file may have been stretched, so that its values are not proportional to the light."
        "Use the camera's own file, from before any change of contrast or gamma."
    InterpolatedColour "interpolated_colour" sound [ImageFile]
        "A program has filled in the colours between the pixels of a filter array; the green ones are used."
        "Use the camera's own file, and describe the filter array by camera.colour_pattern and camera.passbands."
    GreySavedAsColour "grey_saved_as_colour" sound [ImageFile]
        "The picture is grey and was saved three times over, as red, green and blue; one of the three is used."
        "Nothing has to be done."
    TurnedByViewers "turned_by_viewers" sound [ImageFile]
        "A note in the file makes viewers turn this picture; here it stands as it is stored, so that directions differ from those that a viewer shows."
        "Read directions off the picture that --annotate draws, or use a file without such a note."
    TransparencyIgnored "transparency_ignored" sound [ImageFile]
        "The picture has a transparency, which was not looked at."
        "Use a file without transparency, unless the picture is opaque everywhere."
    ColourFilterArray "colour_filter_array" sound [ImageFile]
        "The colours of a filter array are still mixed in the picture, and are measured as if they were one."
        "Describe the array by camera.colour_pattern and camera.passbands, or hand in one colour."
    ColourPatternDiffers "colour_pattern_differs" sound [ImageFile]
        "The card of the file gives the filter array another pattern than camera.colour_pattern; the light of the frame fits only one of the two, which is used (the warning names it)."
        "Type the pattern that is used as camera.colour_pattern; it is read from the bottom row up, so that a file whose rows run from the top down turns RGGB into GBRG."
    ColourPatternOpen "colour_pattern_open" unsound [ImageFile]
        "The card of the file gives the filter array another pattern than camera.colour_pattern, and the light of the frame does not tell which of the two is right (the warning names both)."
        "Go out of focus and expose longer, so that the colours of the star tell; or find out from the maker of the camera which pattern it is, from the bottom row up, and type it as camera.colour_pattern, or put the card right."
    ColourPatternOffFrame "colour_pattern_off_frame" unsound [ImageFile]
        "The light of the frame does not fit camera.colour_pattern: its two greens are not where the pattern has them (the warning names the patterns that fit)."
        "Type a pattern that fits as camera.colour_pattern, read from the bottom row up; a file whose rows run from the top down turns RGGB into GBRG. Where none fits, check camera.passbands, and whether the file was turned, binned or filled in."
    GainDiffers "gain_differs" sound [ImageFile]
        "The file gives another gain than camera.gain_e_per_adu, which is the one that is used."
        "Type the gain that the camera had for this frame; it changes with the camera's settings and with binning."
    GainOffFrame "gain_off_frame" sound [ImageFile]
        "The typed gain does not go with the noise of the frame's background; it is used all the same, so that the uncertainties are too small or too large (the warning has the range that the frame allows)."
        "Check camera.gain_e_per_adu, camera.bias_adu and camera.read_noise_e for the settings that the camera had; frames that were averaged have more electrons a count."
    PixelSizeDiffers "pixel_size_differs" sound [ImageFile]
        "The file gives another pixel size than camera.pixel_um, which is the one that is used."
        "Type the camera.pixel_um of this file; pixels of a binned file are as many times larger than the sensor's."

    // a truth, written
    NoDoughnut "no_doughnut" sound [Truth]
        "The star has no doughnut whose edges could be traced: it is in focus, its rays cross, or the ring lies within the Airy disc."
        "Go farther from focus (state.sensor_offset_um) where the edges are wanted."
    StarOutsideFrame "star_outside_frame" sound [Truth]
        "The star stands outside the frame."
        "Set state.recentred = true, or make the frame larger."
    LightCutByFrame "light_cut_by_frame" sound [Truth]
        "Less than nine tenths of the star's light falls inside the frame."
        "Make the frame larger (camera.width_px, camera.height_px), or go nearer to focus."
    RelativeUnits "relative_units" sound [Truth]
        "The frame is in relative units, so that there are neither electrons nor full pixels to tell of."
        "Give [star], [exposure] and the camera's gain_e_per_adu, quantum_efficiency and read_noise_e."
    Masked "masked" sound [Truth]
        "The mask was on the telescope."
        "Nothing has to be done; measure the frame with the mask described in the instrument."
    SamplingNotChecked "sampling_not_checked" sound [Truth]
        "How exact the sampling is was not checked: it was not asked for, the finer frame does not fit in memory, or there is no light to compare."
        "Ask for it in a recipe (sampling_check = true), or render a smaller frame."
    PhotonBoundNotComputed "photon_bound_not_computed" sound [Truth]
        "What the photons allow was not computed: it was not asked for, or the frame has no counts."
        "Ask for it (render --bound, or photon_bound = true in a recipe) and describe star, exposure and camera so that there are counts."
    PhotonBoundSingular(u32 = 4) "photon_bound_singular:NOLL" sound [Truth]
        "The frame does not determine the mode of this Noll index, so that the photons set no bound to it."
        "Go out of focus, or put a mask on, where that mode is wanted."
    NoSeeing "no_seeing" sound [Truth]
        "No seeing is given, so that what the atmosphere adds to each mode is not known."
        "Type sky.seeing_arcsec."
    NoWind "no_wind" sound [Truth]
        "No wind is given, so that what the atmosphere adds to each mode in one exposure is not known."
        "Type sky.wind_m_per_s."
    NoExposure "no_exposure" sound [Truth]
        "No exposure is given, so that how far the atmosphere averages out is not known."
        "Type exposure.time_s."
    ColourFocusNotZero "colour_focus_not_zero" sound [Truth]
        "The chromatic table gives the reference wavelength more than a tenth of the critical focus zone: sensor_offset_um counts from the focus at which the table is zero, which is not this wavelength's."
        "Add the same number to every focus_um of telescope.chromatic so that it is zero at the reference wavelength, or allow for it in comparisons."
    DesignOverQuarterWave "design_over_quarter_wave" sound [Truth]
        "The aligned telescope itself has more than a quarter wave of aberration on its axis, from peak to valley over the full aperture at the reference wavelength."
        "Nothing has to be done where the telescope is so; where it should be sharp, check telescope.design_nm, or the radii, conics and glasses of [assembly.prescription]."
    ColourOverQuarterWave "colour_over_quarter_wave" sound [Truth]
        "A wavelength of the light is more than a quarter wave out of focus, at the edge of the pupil, where the reference wavelength is in focus."
        "Nothing has to be done where the telescope is so; a narrower passband makes stars sharper, and a prescription's glasses can be checked."
    LightCutByStamp "light_cut_by_stamp" sound [Field]
        "A star has less than nine tenths of its light in the stamp that it is rendered in."
        "Read light_in_stamp of each star; go nearer to focus where all of the light is wanted."
}
