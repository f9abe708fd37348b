//! Random scenarios as text: lengths are drawn as fractions of the aperture, so that every one is valid, and the star stays
//! near a small frame, so that every one is quick.

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

/// Words that must each come up in some of the scenarios.
pub const PARTS: [&str; 22] = [
    "\"sine\"",
    "\"paraboloid\"",
    "\"round\"",
    "\"square\"",
    "[[telescope.vanes]]",
    "[[telescope.chromatic]]",
    "[telescope.field]",
    "[telescope.design_nm]",
    "\"one-triplet\"",
    "\"three-triplet\"",
    "\"two-zone\"",
    "\"holes\"",
    "\"regions\"",
    "mask_on = false",
    "passband_nm",
    "passband_table",
    "colour_pattern",
    "mirrored = true",
    "recentred = false",
    "[state.modes_nm]",
    "[exposure]",
    "tracking_drift_px",
];

/// A whole file.
pub fn scenario() -> impl Strategy<Value = String> {
    (60.0..400.0_f64, 1.3..12.0_f64).prop_flat_map(|(aperture_mm, ratio)| {
        let optics = (
            telescope(aperture_mm, ratio),
            assembly(),
            option::weighted(0.7, mask(aperture_mm)),
        );
        (optics, camera(), state(ratio), night()).prop_map(whole)
    })
}

type Optics = (String, String, Option<String>);

/// Puts the sections together. Only a camera that counts gets a star, and with it a seed.
fn whole(
    ((telescope, assembly, mask), camera, mut state, (sky, star)): (
        Optics,
        Camera,
        StateParts,
        (String, String),
    ),
) -> String {
    if mask.is_none() {
        state.mask_on.clear();
    }
    let (seed, star) = if camera.counts {
        ("seed = 9007199254740991\n", star)
    } else {
        ("", String::new())
    };
    [
        "format = 1\ntitle = \"random\"\n",
        seed,
        &telescope,
        &assembly,
        &mask.unwrap_or_default(),
        &camera.text,
        &state.text,
        &state.mask_on,
        &state.modes,
        &sky,
        &star,
    ]
    .concat()
}

fn telescope(aperture_mm: f64, ratio: f64) -> impl Strategy<Value = String> {
    let focal_length_mm = aperture_mm * ratio;
    let head = prop::sample::select(vec!["sine", "paraboloid"]).prop_map(move |law| {
        format!(
            "[telescope]\naperture_mm = {aperture_mm}\nfocal_length_mm = {focal_length_mm}\nfocus_law = \"{law}\"\n"
        )
    });
    let radius_mm = 0.5 * aperture_mm;
    (
        head,
        option::weighted(0.8, obstruction(aperture_mm)),
        vec(vane(radius_mm), 0..4),
        option::weighted(0.4, modes("telescope.design_nm", 40.0)),
        option::weighted(0.3, chromatic()),
        option::weighted(0.4, field()),
    )
        .prop_map(|(head, disc, vanes, design, chromatic, field)| {
            let parts = [disc, Some(vanes.concat()), design, chromatic, field];
            head + &parts.into_iter().flatten().collect::<String>()
        })
}

fn obstruction(aperture_mm: f64) -> impl Strategy<Value = String> {
    let shape = prop::sample::select(vec!["round", "square"]);
    (shape, 0.05..0.6, place(0.1 * aperture_mm), 0.0..900.0).prop_map(
        move |(shape, fraction, offset, distance): (_, f64, _, f64)| {
            format!(
                "[telescope.obstruction]\ndiameter_mm = {}\nshape = \"{shape}\"\noffset_mm = {offset}\ndistance_mm = {distance}\n",
                fraction * aperture_mm
            )
        },
    )
}

fn vane(radius_mm: f64) -> impl Strategy<Value = String> {
    (-360.0..360.0, 0.005..0.15, 0.0..0.6, 0.7..1.5, -0.4..0.4).prop_map(
        move |(azimuth, width, inner, outer, offset): (f64, f64, f64, f64, f64)| {
            format!(
                "[[telescope.vanes]]\nazimuth_deg = {azimuth}\nwidth_mm = {}\ninner_radius_mm = {}\nouter_radius_mm = {}\noffset_mm = {}\n",
                width * radius_mm,
                inner * radius_mm,
                outer * radius_mm,
                offset * radius_mm
            )
        },
    )
}

fn chromatic() -> impl Strategy<Value = String> {
    (-8.0..8.0, -8.0..8.0, -20.0..20.0).prop_map(|(first, last, sphere): (f64, f64, f64)| {
        format!(
            "[[telescope.chromatic]]\nwavelength_nm = 450.0\nfocus_um = {first}\nmodes_nm = {{ 11 = {sphere} }}\n\
             [[telescope.chromatic]]\nwavelength_nm = 640.0\nfocus_um = {last}\n"
        )
    })
}

fn field() -> impl Strategy<Value = String> {
    (place(1.0), -20.0..20.0, -4.0..4.0, -0.5..0.5).prop_map(
        |(axis, coma, astigmatism, curvature): (_, f64, f64, f64)| {
            format!(
                "[telescope.field]\naxis_mm = {axis}\ncoma_nm_per_mm = {coma}\nastigmatism_nm_per_mm2 = {astigmatism}\n\
                 curvature_um_per_mm2 = {curvature}\n"
            )
        },
    )
}

fn assembly() -> impl Strategy<Value = String> {
    (-80.0..80.0, -1.0..1.0, -0.5..0.5, 0.0..2.0).prop_map(
        |(coma, astigmatism, mixed, sensor): (f64, f64, f64, f64)| {
            format!(
                "[assembly]\nscrew_circle_radius_mm = 51.0\npitch_mm_per_turn = 0.5\n\
                 screws = [ {{ name = \"A\", azimuth_deg = 90.0 }}, {{ name = \"B\", azimuth_deg = 207.0 }}, \
                 {{ name = \"C\", azimuth_deg = -31.0 }} ]\n[assembly.response]\ncoma_nm_per_arcmin = {coma}\n\
                 astigmatism_nm_per_arcmin2 = {astigmatism}\nastigmatism_nm_per_arcmin_mm = {mixed}\n\
                 image_shift_um_per_arcmin = 3.0\nfocus_um_per_mm = 200.0\nsensor_tilt_per_tilt = {sensor}\n"
            )
        },
    )
}

fn mask(aperture_mm: f64) -> impl Strategy<Value = String> {
    let slots = (
        prop::sample::select(vec!["one-triplet", "three-triplet", "two-zone"]),
        0.04..0.12,
        0.2..0.8,
        -35.0..35.0,
        prop::sample::select(vec![-1, 1]),
    )
        .prop_map(move |(layout, pitch, open, slant, sense): (_, f64, f64, f64, _)| {
            let zone = if layout == "two-zone" {
                format!("zone_radius_mm = {}\n", 0.36 * aperture_mm)
            } else {
                String::new()
            };
            format!(
                "layout = \"{layout}\"\nslot_pitch_mm = {}\nopen_fraction = {open}\nslant_deg = {slant}\nsense = {sense}\n{zone}",
                pitch * aperture_mm
            )
        });
    let holes = vec(
        (0.28..0.4, -360.0..360.0, 0.05..0.1).prop_map(
            move |(radius, azimuth, size): (f64, f64, f64)| {
                format!(
                    "{{ radius_mm = {}, azimuth_deg = {azimuth}, diameter_mm = {} }}",
                    radius * aperture_mm,
                    size * aperture_mm
                )
            },
        ),
        1..5,
    )
    .prop_map(|holes| format!("layout = \"holes\"\nholes = [ {} ]\n", holes.join(", ")));
    let regions = vec(
        (0.0..300.0, 20.0..60.0, -180.0..180.0, 0.04..0.12, 0.2..0.8).prop_map(
            move |(from, wide, slot, pitch, open): (f64, f64, f64, f64, f64)| {
                format!(
                    "{{ azimuth_deg = [{from}, {}], radius_mm = [{}, {}], slot_deg = {slot}, pitch_mm = {}, open_fraction = {open} }}",
                    from + wide,
                    0.2 * aperture_mm,
                    0.45 * aperture_mm,
                    pitch * aperture_mm
                )
            },
        ),
        1..4,
    )
    .prop_map(|regions| format!("layout = \"regions\"\nregions = [ {} ]\n", regions.join(", ")));
    let layout = prop_oneof![4 => slots, 1 => holes, 1 => regions];
    (layout, -360.0..360.0, place(0.02 * aperture_mm), 0.0..500.0).prop_map(
        move |(layout, rotation, offset, distance): (_, f64, _, f64)| {
            format!(
                "[mask]\n{layout}outer_diameter_mm = {}\ninner_diameter_mm = {}\nouter_rim_mm = {}\n\
                 inner_rim_mm = {}\nrib_mm = {}\nthickness_mm = 2.0\nrotation_deg = {rotation}\noffset_mm = {offset}\n\
                 distance_mm = {distance}\n",
                0.97 * aperture_mm,
                0.38 * aperture_mm,
                0.015 * aperture_mm,
                0.01 * aperture_mm,
                0.01 * aperture_mm
            )
        },
    )
}

/// `[camera]`, and whether it counts electrons.
#[derive(Debug, Clone)]
struct Camera {
    text: String,
    counts: bool,
}

fn camera() -> impl Strategy<Value = Camera> {
    let size = (1.5..8.0, 3..25_usize, 3..25_usize, 1..3_usize).prop_map(
        |(pixel, width, height, wavelengths): (f64, _, _, _)| {
            format!(
                "[camera]\npixel_um = {pixel}\nwidth_px = {width}\nheight_px = {height}\n\
                 wavelengths = {wavelengths}\n"
            )
        },
    );
    let axes = (-360.0..360.0, any::<bool>()).prop_map(|(rotation, mirrored): (f64, _)| {
        format!("rotation_deg = {rotation}\nmirrored = {mirrored}\n")
    });
    let electronics = (0.2..2.0, 8..=16_u32, 500.0..60_000.0, 0.0..0.05).prop_map(
        |(gain, bits, full, spread): (f64, u32, f64, f64)| {
            format!(
                "quantum_efficiency = 0.7\nthroughput = 0.9\ngain_e_per_adu = {gain}\nbias_adu = 100.0\n\
                 read_noise_e = 1.3\ndark_e_per_s = 0.02\nfull_well_e = {full}\nbits = {bits}\n\
                 pixel_response_rms = {spread}\n"
            )
        },
    );
    (size, axes, option::weighted(0.5, electronics), passbands()).prop_map(
        |(size, axes, electronics, bands)| Camera {
            counts: electronics.is_some(),
            text: size + &axes + &electronics.unwrap_or_default() + &bands,
        },
    )
}

fn passbands() -> impl Strategy<Value = String> {
    let band = (420.0..600.0, 5.0..150.0)
        .prop_map(|(from, wide): (f64, f64)| format!("passband_nm = [{from}, {}]\n", from + wide));
    let table = (400.0..500.0, 0.0..1.0, 0.1..1.0, 0.0..1.0).prop_map(
        |(from, first, middle, last): (f64, f64, f64, f64)| {
            format!(
                "passband_table = [ {{ nm = {from}, transmission = {first} }}, {{ nm = {}, transmission = {middle} }}, \
                 {{ nm = {}, transmission = {last} }} ]\n",
                from + 60.0,
                from + 110.0
            )
        },
    );
    let colours = prop::sample::select(vec!["RGGB", "GRBG", "BGGR", "GBRG"]).prop_map(|pattern| {
        format!(
            "colour_pattern = \"{pattern}\"\n[camera.passbands.red]\npassband_nm = [580.0, 660.0]\n\
             [camera.passbands.green]\npassband_nm = [500.0, 570.0]\n[camera.passbands.blue]\n\
             passband_table = [ {{ nm = 420.0, transmission = 0.4 }}, {{ nm = 490.0, transmission = 0.8 }} ]\n"
        )
    });
    prop_oneof![3 => band, 3 => table, 2 => colours]
}

/// `[state]`: its plain keys, the one that needs a mask, and its table of modes.
#[derive(Debug, Clone)]
struct StateParts {
    text: String,
    mask_on: String,
    modes: String,
}

fn state(ratio: f64) -> impl Strategy<Value = StateParts> {
    // Rays land within 40 µm of the star: the frame is about as large.
    let defocus = (-40.0..40.0_f64).prop_map(move |reach_um| 2.0 * ratio * reach_um);
    let offset_um = prop_oneof![1 => Just(0.0), 5 => defocus];
    let turns = prop::array::uniform3(-0.3..0.3_f64);
    let text = (offset_um, any::<bool>(), place(2.0), turns).prop_map(
        |(offset_um, recentred, field, [a, b, c])| {
            format!(
                "[state]\nsensor_offset_um = {offset_um}\nrecentred = {recentred}\nfield_mm = {field}\n\
                 turns = {{ A = {a}, B = {b}, C = {c} }}\n"
            )
        },
    );
    let modes = option::weighted(0.8, modes("state.modes_nm", 120.0));
    (text, prop::bool::weighted(0.75), modes).prop_map(|(text, on, modes)| StateParts {
        text,
        mask_on: format!("mask_on = {on}\n"),
        modes: modes.unwrap_or_default(),
    })
}

fn modes(section: &'static str, largest_nm: f64) -> impl Strategy<Value = String> {
    proptest::collection::btree_map(2..37_u32, -largest_nm..largest_nm, 1..5).prop_map(
        move |modes| {
            let lines: String = modes
                .iter()
                .map(|(noll, nm)| format!("{noll} = {nm}\n"))
                .collect();
            format!("[{section}]\n{lines}")
        },
    )
}

/// `[sky]` in any case or not, and `[star]` with `[exposure]` for where the camera counts.
fn night() -> impl Strategy<Value = (String, String)> {
    let sky = (0.3..3.0, place(3.0), 17.0..22.0).prop_map(|(seeing, drift, sky): (f64, _, f64)| {
        format!("[sky]\nseeing_arcsec = {seeing}\ntracking_drift_px = {drift}\nbrightness_mag_per_arcsec2 = {sky}\n")
    });
    let star = (-1.0..9.0, 2500.0..20_000.0, 5.0..=90.0, 0.01..5.0).prop_map(
        |(magnitude, temperature, altitude, time): (f64, f64, f64, f64)| {
            format!(
                "[star]\nmagnitude = {magnitude}\ntemperature_k = {temperature}\naltitude_deg = {altitude}\n[exposure]\ntime_s = {time}\n"
            )
        },
    );
    (option::weighted(0.5, sky), star).prop_map(|(sky, star)| (sky.unwrap_or_default(), star))
}

/// `[x, y]` within a square.
fn place(reach: f64) -> impl Strategy<Value = String> {
    (-reach..reach, -reach..reach).prop_map(|(x, y)| format!("[{x}, {y}]"))
}
