// motion: how the picture moved between two frames, from the stars alone, identified or not.
#pragma once

#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "polewright/geometry.hpp"
#include "polewright/stars.hpp"

namespace polewright {

/// Similarity-free rigid motion of the star pattern on the frame, from frame a to frame b, about the frame centre:
/// b = centre + R(roll)·(a − centre) + shift. Roll positive from +x towards +y.
struct FrameShift {
  double shift_x_px = 0.0, shift_y_px = 0.0;
  Angle roll;
  Covariance2 shift_cov;         ///< px²
  double roll_sigma_rad = 0.0;
  double residual_rms_px = 0.0;
  std::vector<std::pair<std::uint32_t, std::uint32_t>> pairs;  ///< indices into a.stars, b.stars
};

/// Matches the star patterns of two frames of the same camera and fits shift and roll. Nothing when fewer than three
/// stars agree or when the agreement could be chance.
[[nodiscard]] std::optional<FrameShift> shift_between(const StarList& a, const StarList& b);

}  // namespace polewright
