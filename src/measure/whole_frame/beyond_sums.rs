//! What the laws of `plane.rs` and `coma.rs` leave out, star by star, by the rays of the plane and the node that were found last.

use super::super::measurement::aligned_modes;
use super::FieldOfFrame;
use super::coma::{self, NodeFit, Skewed};
use super::plane::{self, PlaneFit, SizedStar};
use super::rays::FieldRays;
use crate::axes::FieldM;
use crate::state::{Coma, Modes};
use rayon::prelude::*;

impl FieldOfFrame<'_> {
    fn rays(&self) -> FieldRays {
        let telescope = &self.instrument.telescope;
        FieldRays::new(telescope.obstruction_ratio(), telescope.focal_ratio())
    }

    /// Sets, for each star, by how much its diameter by rays differs from that by the law of squares.
    pub(super) fn add_what_squares_leave_out(
        &self,
        stars: &mut [SizedStar],
        plane: &PlaneFit,
        node: Option<&NodeFit>,
    ) {
        let (values, known, rays) = (&plane.fit.values, self.known(), self.rays());
        stars.par_iter_mut().for_each(|star| {
            let coma = node.map_or([0.0; 2], |n| coma::coma_m(&n.fit.values, star.field_m));
            let modes = self.modes_with(coma, star.field_m);
            let offset_m = plane::offset_m(values, star.field_m, star.curved_m, star.step_m);
            let by_rays_m = rays.half_flux_diameter_m(offset_m, &modes, values[3].abs().sqrt());
            star.beyond_squares_m = by_rays_m - plane::by_squares_m(star, values, known);
        });
    }

    /// Sets, for each star, which share of the third moment of all its rays lies within the circle that moments are summed in.
    pub(super) fn allow_for_the_circle(
        &self,
        stars: &mut [Skewed],
        plane: &PlaneFit,
        node: &NodeFit,
    ) {
        let (rays, ring, settings) = (self.rays(), self.ring_rays(), self.settings());
        let [least, most] = settings.circle_share_range;
        let in_focus_m = plane.fit.values[3].abs().sqrt();
        stars.par_iter_mut().for_each(|star| {
            let coma = coma::coma_m(&node.fit.values, star.field_m);
            let size = coma[0].hypot(coma[1]);
            if size == 0.0 {
                return;
            }
            let coma = coma.map(|c| c * size.max(settings.circle_coma_m_at_least) / size);
            let modes = self.modes_with(coma, star.field_m);
            let [x, y] =
                rays.asymmetry_m3(star.offset_m, &modes, in_focus_m, settings.moment_radii);
            let all = coma::third_m3(star, coma, ring);
            let share = (x * all[0] + y * all[1]) / (all[0].powi(2) + all[1].powi(2));
            star.share = share.min(most).max(least);
        });
    }

    /// Modes of the aligned telescope at a place, with its coma replaced by another one.
    fn modes_with(&self, coma_m: [f64; 2], field_m: FieldM) -> Modes {
        aligned_modes(self.instrument, field_m)
            .iter()
            .filter(|(noll, _)| ![7, 8].contains(noll))
            .chain(Coma::along_axes(coma_m).modes().iter())
            .collect()
    }
}
