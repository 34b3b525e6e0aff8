// Between a fit's own parameters and the figures a Star carries.
#pragma once

#include "polewright/stars.hpp"
#include "stars/star_fit.hpp"

namespace polewright {

/// A fit about to start, in the form that suits the trail.
StarFit start_fit(PixelPoint middle, double sigma_across_px, double trail_x_px, double trail_y_px, int colours,
                  double flux);
void trail_of(const StarFit& fit, double& trail_x_px, double& trail_y_px);
double width_across(const StarFit& fit);
/// False when the trail has grown out of, or shrunk below, the range in which the fit's form is regular.
bool form_fits(const StarFit& fit);
StarFit with_other_form(const StarFit& fit);
/// Writes a fit's values and errors. Without `free_shape` width and trail were held; their errors are then those that
/// a star of this significance would have.
void store_fit(const StarFit& fit, bool free_shape, Star& star);

}  // namespace polewright
