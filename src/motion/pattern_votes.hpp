// Candidate motions from the distances between stars, which a rigid motion keeps.
#pragma once

#include <vector>

#include "motion/rigid_fit.hpp"

namespace polewright::motion_detail {

struct VoteOptions {
  int stars = 80;  ///< brightest of each frame whose pairs vote; half of them may be strangers
  double smallest_length_px = 40.0;
  double length_tolerance_px = 1.5;
  double length_tolerance = 1e-3;  ///< share of the length: perspective stretches the far side of a wide field
  double largest_roll_rad = 0.5;
  double bin_px = 12.0;
  int candidates = 6;
};

/// Most voted motions first.
[[nodiscard]] std::vector<RigidMotion> vote_for_motions(const std::vector<Place>& a, const std::vector<Place>& b,
                                                        PixelPoint centre, const VoteOptions& options);

}  // namespace polewright::motion_detail
