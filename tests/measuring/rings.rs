//! Edges of doughnuts read without a model, against edges by ray tracing.

use super::world::{Climate, Kind, World};
use skewstar::measure::ring;
use skewstar::measure::settings::RingSettings;
use skewstar::predict::{Model, Settings};
use skewstar::simulate::doughnut;

/// What `ring` promises: the dark shift within 0.2 px, the outer radius within 0.6 px, on frames of 10^6 electrons. The
/// inner radius is read up to 1.3 px small, because light is bent into the shadow from all round; the thin side
/// within 12 degrees of the push of the dark centre, and the shadow of the cable where its azimuth says.
#[test]
fn edges_are_where_rays_put_them() {
    let mut worst = [0.0f64; 3];
    for seed in 1..=8 {
        let climate = Climate {
            kind: Kind::Doughnut([40.0, 90.0]),
            electrons: 1e6,
            coma_nm: [60.0, 150.0],
            mismatched: false,
            aside_mm: 0.0,
        };
        let world = World::new(climate, seed);
        let model = Model::new(&world.real, &world.state, Settings::default()).unwrap();
        let wavefront = model.reference_wavefront();
        let truth = doughnut(&world.real, &world.state, &wavefront, model.reference_m).unwrap();
        let (dark, inner_m) = truth.dark.unwrap();
        let pixel_m = world.real.camera.pixel_m;
        let found = {
            let light = world.picture().values_adu.mapv(|v| v - 330.0);
            ring(&light, &RingSettings::default()).unwrap()
        };
        let shift = found.dark_shift_px().unwrap();
        let want = [0, 1].map(|i| (dark[i] - truth.outer_centre_m[i]) / pixel_m);
        let off = (shift[0] - want[0]).hypot(shift[1] - want[1]);
        let radii = [
            found.outer_radius_px - truth.outer_radius_m / pixel_m,
            found.inner_radius_px.unwrap() - inner_m / pixel_m,
        ];
        println!("{seed}: dark shift off by {off:.2} px, radii by {radii:.2?} px");
        worst = [
            worst[0].max(off),
            worst[1].max(radii[0].abs()),
            worst[2].max(radii[1].abs()),
        ];
        let pushed = want[1].atan2(want[0]);
        let thin = (found.thin_side_rad() - pushed).sin().abs();
        let same_way = (found.thin_side_rad() - pushed).cos() > 0.0;
        assert!(
            same_way && thin < 12f64.to_radians().sin(),
            "{seed}: {thin}"
        );
    }
    println!(
        "worst: dark shift {:.2} px, outer {:.2} px, inner {:.2} px",
        worst[0], worst[1], worst[2]
    );
    assert!(
        worst[0] < 0.2 && worst[1] < 0.6 && worst[2] < 1.3,
        "{worst:?}"
    );
}
