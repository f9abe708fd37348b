//! Zernike polynomials over the disc and over the annulus, and the balanced aberrations made of them.
//!
//! Nothing is sampled but the means over the pupil, which take a Gauss rule of 16 rings and 48 spokes: exact for products up
//! to degree 31 in ρ² and frequency 47, so that only rounding is left.

use crate::support::checks::{agrees, input, list, number, rows};
use crate::support::direct::gauss_legendre;
use skewstar::state::Modes;
use skewstar::units::DEG;
use skewstar::wavefront::{
    Seidel, ZernikeSum, annular_radial, annular_to_noll, noll_n_m, noll_norm, seidel_to_noll,
};
use std::f64::consts::TAU;

pub const USED: &[&str] = &[
    "zernike.noll_n_m",
    "zernike.noll_norm_squared",
    "zernike.noll_values",
    "zernike.orthonormal",
    "zernike_annular.defocus_coefficients",
    "zernike_annular.astigmatism_coefficients",
    "zernike_annular.coma_coefficients",
    "zernike_annular.spherical_coefficients",
    "zernike_annular.values",
    "balance.rms_over_coefficient",
    "balance.balancing_coefficient",
    "balance.coefficient_at_strehl_08",
    "balance.annular_rms_over_coefficient",
    "balance.annular_balancing_coefficient",
];

/// Mean of a function of (x, y) over the annulus from `inner` to 1.
fn mean(inner: f64, f: impl Fn(f64, f64) -> f64) -> f64 {
    const SPOKES: usize = 48;
    let (nodes, weights) = gauss_legendre(16);
    let mut sum = 0.0;
    for (node, weight) in nodes.iter().zip(&weights) {
        let rho = (inner * inner + (1.0 - inner * inner) * 0.5 * (1.0 + node)).sqrt();
        for spoke in 0..SPOKES {
            let theta = TAU * (spoke as f64 + 0.5) / SPOKES as f64;
            sum += 0.5 * weight * f(rho * theta.cos(), rho * theta.sin()) / SPOKES as f64;
        }
    }
    sum
}

/// RMS of W over the annulus, its mean taken out.
fn rms(modes: &Modes, inner: f64) -> f64 {
    let sum = ZernikeSum::new(modes);
    let level = mean(inner, |x, y| sum.value(x, y));
    mean(inner, |x, y| (sum.value(x, y) - level).powi(2)).sqrt()
}

fn single(noll: u32) -> ZernikeSum {
    ZernikeSum::new(&[(noll, 1.0)].into_iter().collect())
}

#[test]
fn order_and_norm() {
    let id = "zernike.noll_norm_squared";
    for (i, (pair, norm)) in rows("zernike.noll_n_m").iter().zip(list(id)).enumerate() {
        let noll = i as u32 + 1;
        let (n, m) = noll_n_m(noll);
        let name = format!("j {noll}");
        for (part, (value, found)) in pair.iter().zip([f64::from(n), f64::from(m)]).enumerate() {
            let name = format!("{name} {}", ["n", "m"][part]);
            agrees("zernike.noll_n_m", &name, *value, found, 0.0);
        }
        agrees(id, &name, norm, noll_norm(n, m).powi(2), 0.0);
    }
}

/// The engine's sums leave piston out, so the first value is Noll's norm of piston times 1.
#[test]
fn values_at_a_point() {
    let id = "zernike.noll_values";
    let (rho, theta) = (
        input(id, "rho").number(),
        input(id, "theta_deg").number() * DEG,
    );
    let (x, y) = (rho * theta.cos(), rho * theta.sin());
    for (i, value) in list(id).into_iter().enumerate() {
        let noll = i as u32 + 1;
        let found = if noll == 1 {
            noll_norm(0, 0)
        } else {
            single(noll).value(x, y)
        };
        agrees(id, &format!("j {noll}"), value, found, 0.0);
    }
}

#[test]
fn orthonormal_over_the_disc() {
    let id = "zernike.orthonormal";
    let last = input(id, "j_max").number() as u32;
    let mut worst = 0.0f64;
    for i in 2..=last {
        let a = single(i);
        worst = worst.max(mean(0.0, |x, y| a.value(x, y)).abs()); // against piston
        for j in 2..=i {
            let b = single(j);
            let product = mean(0.0, |x, y| a.value(x, y) * b.value(x, y));
            worst = worst.max((product - f64::from(u8::from(i == j))).abs());
        }
    }
    agrees(id, "worst product", number(id), worst, 0.0);
}

#[test]
fn annular_polynomials() {
    for (id, n, m) in [
        ("zernike_annular.defocus_coefficients", 2, 0),
        ("zernike_annular.astigmatism_coefficients", 2, 2),
        ("zernike_annular.coma_coefficients", 3, 1),
        ("zernike_annular.spherical_coefficients", 4, 0),
    ] {
        for (ratio, row) in input(id, "eps").list().into_iter().zip(rows(id)) {
            let found = annular_radial(n, m, ratio);
            assert_eq!(found.len(), row.len());
            for (k, (value, found)) in row.into_iter().zip(found).enumerate() {
                let name = format!("eps {ratio} rho^{}", m as usize + 2 * k);
                agrees(id, &name, value, found, 0.0);
            }
        }
    }
}

/// The annular terms as the engine uses them: turned into full-circle modes. Piston is put back as the mean over the annulus.
#[test]
fn annular_values_at_a_point() {
    let id = "zernike_annular.values";
    let (rho, theta) = (
        input(id, "rho").number(),
        input(id, "theta_deg").number() * DEG,
    );
    for (ratio, row) in input(id, "eps").list().into_iter().zip(rows(id)) {
        for (noll, value) in [4, 6, 8, 11].into_iter().zip(row) {
            let modes = annular_to_noll(&[(noll, 1.0)].into_iter().collect(), ratio);
            let sum = ZernikeSum::new(&modes);
            let level = mean(ratio, |x, y| sum.value(x, y));
            let found = sum.value(rho * theta.cos(), rho * theta.sin()) - level;
            agrees(id, &format!("eps {ratio} j {noll}"), value, found, 0.0);
        }
    }
}

/// The aberrations of `balance.*`, for a coefficient of 1.
fn unit_aberration(name: &str) -> Seidel {
    let balance = list("balance.balancing_coefficient");
    let none = Seidel::default();
    match name {
        "defocus" => Seidel {
            defocus_m: 1.0,
            ..none
        },
        "spherical" => Seidel {
            spherical_m: 1.0,
            ..none
        },
        "spherical balanced" => Seidel {
            spherical_m: 1.0,
            defocus_m: balance[0],
            ..none
        },
        "coma" => Seidel {
            coma_m: 1.0,
            ..none
        },
        "coma balanced" => Seidel {
            coma_m: 1.0,
            tilt_m: balance[1],
            ..none
        },
        "astigmatism" => Seidel {
            astigmatism_m: 1.0,
            ..none
        },
        "astigmatism balanced" => Seidel {
            astigmatism_m: 1.0,
            defocus_m: balance[2],
            ..none
        },
        other => panic!("no aberration is called {other}"),
    }
}

#[test]
fn rms_of_the_primary_aberrations() {
    let id = "balance.rms_over_coefficient";
    for (name, value) in input(id, "order").words().iter().zip(list(id)) {
        let modes = seidel_to_noll(&unit_aberration(name));
        let from_modes = modes.iter().map(|(_, c)| c * c).sum::<f64>().sqrt();
        agrees(id, &format!("{name}, modes"), value, from_modes, 1e-12);
        agrees(id, &format!("{name}, mean"), value, rms(&modes, 0.0), 1e-12);
    }
    let id = "balance.coefficient_at_strehl_08";
    for (name, value) in input(id, "order").words().iter().zip(list(id)) {
        let unit_rms = rms(&seidel_to_noll(&unit_aberration(name)), 0.0);
        agrees(id, name, value, 0.2f64.sqrt() / (TAU * unit_rms), 0.0);
    }
}

/// What has to be added so that the mode of the added kind vanishes.
#[test]
fn best_balance() {
    let id = "balance.balancing_coefficient";
    let added = [("defocus", 4), ("tilt", 2), ("defocus", 4)];
    for ((name, value), (kind, noll)) in input(id, "order").words().iter().zip(list(id)).zip(added)
    {
        let there = seidel_to_noll(&unit_aberration(name)).get(noll);
        let unit = if kind == "defocus" {
            Seidel {
                defocus_m: 1.0,
                ..Seidel::default()
            }
        } else {
            Seidel {
                tilt_m: 1.0,
                ..Seidel::default()
            }
        };
        agrees(
            id,
            name,
            value,
            -there / seidel_to_noll(&unit).get(noll),
            0.0,
        );
    }
}

/// A balanced aberration is one annular polynomial: its leading coefficient gives the RMS, the one before it the balance.
#[test]
fn balance_over_an_annulus() {
    let (id, balance) = (
        "balance.annular_rms_over_coefficient",
        "balance.annular_balancing_coefficient",
    );
    let ratios = input(id, "eps").list();
    for ((ratio, row), added) in ratios.into_iter().zip(rows(id)).zip(rows(balance)) {
        let radial = |n, m| annular_radial(n, m, ratio);
        let found = [
            1.0 / radial(2, 0)[1],
            1.0 / radial(4, 0)[2],
            1.0 / radial(3, 1)[1],
            0.5 / radial(2, 2)[0], // W222 ρ² cos² θ = W222 ρ²/2 + W222 ρ² cos 2θ/2
        ];
        let names = ["defocus", "spherical", "coma", "astigmatism"];
        for (name, (value, found)) in names.iter().zip(row.into_iter().zip(found)) {
            agrees(id, &format!("eps {ratio} {name}"), value, found, 0.0);
        }
        let found = [
            radial(4, 0)[1] / radial(4, 0)[2],
            radial(3, 1)[0] / radial(3, 1)[1],
        ];
        for (name, (value, found)) in names[1..3].iter().zip(added.iter().zip(found)) {
            agrees(balance, &format!("eps {ratio} {name}"), *value, found, 0.0);
        }
        // astigmatism: the RMS over the annulus with the published balance, and a little to either side
        let with = |defocus_m: f64| {
            let seidel = Seidel {
                astigmatism_m: 1.0,
                defocus_m,
                ..Seidel::default()
            };
            rms(&seidel_to_noll(&seidel), ratio).powi(2)
        };
        let [low, here, high] = [-1.0, 0.0, 1.0].map(|step| with(-0.5 + 0.1 * step));
        let least = -0.5 + 0.1 * 0.5 * (low - high) / (low - 2.0 * here + high);
        agrees(
            balance,
            &format!("eps {ratio} astigmatism"),
            added[2],
            least,
            0.0,
        );
    }
}
