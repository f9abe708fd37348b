//! An invented fast telescope, and simple looks at a frame that share nothing with the engine's own measuring.

use ndarray::Array2;
use skewstar::instrument::*;
use skewstar::units::*;

/// f/2.4 on three screws; a frame that is not square.
pub fn unit() -> Instrument {
    let mut telescope = Telescope::new(170.0 * MM, 408.0 * MM);
    telescope.obstruction = Some(Obstruction::disc(70.0 * MM));
    let mut assembly = Assembly::new(52.0 * MM, 0.5 * MM, three_screws());
    assembly.response = Some(Response {
        coma_m_per_rad: 61.0 * NM / ARCMIN,
        astigmatism_m_per_rad2: 0.3 * NM / (ARCMIN * ARCMIN),
        astigmatism_m_per_rad_m: 0.07 * NM / (ARCMIN * MM),
        image_shift_m_per_rad: 26.0 * UM / ARCMIN,
        focus_m_per_m: 1.0,
        sensor_tilt_per_tilt: 1.0,
        ..Response::default()
    });
    let mut camera = Camera::new(3.8 * UM, [72, 60], Passband::Band([530.0 * NM, 570.0 * NM]));
    camera.wavelengths = Some(1);
    Instrument {
        assembly: Some(assembly),
        ..Instrument::new(telescope, camera)
    }
}

/// A at the top, B and C below, to the left and to the right.
pub fn three_screws() -> [(&'static str, f64); 3] {
    [("A", 90.0), ("B", 210.0), ("C", 330.0)].map(|(name, azimuth)| (name, azimuth * DEG))
}

/// Light-weighted mean position from `origin`, in pixels.
pub fn centroid(image: &Array2<f64>, origin: [f64; 2]) -> [f64; 2] {
    let total = image.sum();
    let mut sum = [0.0; 2];
    for ((row, column), light) in image.indexed_iter() {
        sum[0] += light * (column as f64 - origin[0]);
        sum[1] += light * (row as f64 - origin[1]);
    }
    sum.map(|s| s / total)
}

/// (direction in degrees, mean light) of a ring about a centre, in 5-degree sectors.
pub fn ring_profile(
    image: &Array2<f64>,
    centre: [f64; 2],
    from_px: f64,
    to_px: f64,
) -> Vec<(f64, f64)> {
    (0..72)
        .map(|sector| {
            let degrees = 5.0 * f64::from(sector);
            let angle = degrees * DEG;
            let mut sum = 0.0;
            let steps = 40;
            for i in 0..steps {
                let r = from_px + (to_px - from_px) * (f64::from(i) + 0.5) / f64::from(steps);
                sum += at(
                    image,
                    centre[0] + r * angle.cos(),
                    centre[1] + r * angle.sin(),
                );
            }
            (degrees, sum / f64::from(steps))
        })
        .collect()
}

/// Direction in which a doughnut is brightest: first harmonic of the light just inside its outer edge.
pub fn brightest_direction_deg(image: &Array2<f64>, centre: [f64; 2], radius_px: f64) -> f64 {
    let (mut x, mut y) = (0.0, 0.0);
    for (degrees, light) in ring_profile(image, centre, 0.6 * radius_px, 0.97 * radius_px) {
        x += light * (degrees * DEG).cos();
        y += light * (degrees * DEG).sin();
    }
    y.atan2(x) / DEG
}

/// Mean radius at which the light falls to a quarter of what the ring has further in.
pub fn outer_edge_px(image: &Array2<f64>, centre: [f64; 2]) -> f64 {
    let mean = |r: f64| {
        (0..360)
            .map(|d| f64::from(d) * DEG)
            .map(|a| at(image, centre[0] + r * a.cos(), centre[1] + r * a.sin()))
            .sum::<f64>()
            / 360.0
    };
    let plateau = (20..=30).map(|i| mean(f64::from(i))).sum::<f64>() / 11.0;
    let mut r = 30.0;
    while mean(r) > 0.25 * plateau {
        r += 0.01;
    }
    r
}

/// Light at a place between pixel centres, linear.
fn at(image: &Array2<f64>, x: f64, y: f64) -> f64 {
    let (column, row) = (x.floor(), y.floor());
    let (u, v) = (x - column, y - row);
    let get = |i: f64, j: f64| {
        let inside =
            i >= 0.0 && j >= 0.0 && (i as usize) < image.ncols() && (j as usize) < image.nrows();
        if inside {
            image[[j as usize, i as usize]]
        } else {
            0.0
        }
    };
    (1.0 - u) * ((1.0 - v) * get(column, row) + v * get(column, row + 1.0))
        + u * ((1.0 - v) * get(column + 1.0, row) + v * get(column + 1.0, row + 1.0))
}
