// From maxima of the filtered frame to stars with a first measurement.
#pragma once

#include <vector>

#include "polewright/stars.hpp"
#include "stars/detect.hpp"
#include "stars/local_sky.hpp"
#include "stars/star_size.hpp"

namespace polewright {

/// Width of a star image without the blur of the pixel itself.
double without_pixel(double sigma_px);

/// Candidates that stand out of their own surroundings by more than the threshold, measured. Expects falling
/// significance.
std::vector<Star> measure_candidates(const Frame& frame, const BackgroundMap& background, const LocalSky& local,
                                     const std::vector<Candidate>& candidates, const StarSize& size,
                                     const StarOptions& options);

/// Detections closer than `reach_px` are one star; the more significant one stays.
std::vector<Star> without_repeats(const std::vector<Star>& stars, double reach_px);

}  // namespace polewright
