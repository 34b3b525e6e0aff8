// What is not a star, and why.
#pragma once

#include <vector>

#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/frame_fit.hpp"

namespace polewright {

/// Sets hot_pixel, cosmic_ray, column, streak and blended from the pixels around each star and from its neighbours.
/// Flags already set stay.
void flag_doubtful(const Frame& frame, const BackgroundMap& background, const FrameProfile& profile, int threads,
                   std::vector<Star>& stars);

}  // namespace polewright
