// Stars whose core has burnt out: position and light from the wings, which other stars and the model's own limits
// disturb more than noise does.
#pragma once

#include <optional>

#include "stars/star_fit.hpp"

namespace polewright {

/// Fits a saturated star from `start`: the wings' share is its own, pixels that stand out among those of equal light
/// (faint neighbours nobody has detected) do not count, and the errors hold what the sides of the star disagree by and
/// what the choice of wings moves. Nothing when too little is left to say.
std::optional<StarFit> fit_saturated(FitPixels pixels, const StarFit& start, const FitPriors& priors,
                                     const Wings& frame_wings);

}  // namespace polewright
