// diagnose: why stars trail.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "polewright/mount.hpp"

namespace polewright {

/// One reason for trails and how much of them it explains.
struct TrailCause {
  std::string cause;   ///< one of the fixed words listed in DEVELOPERS.md, "Causes"
  double share = 0.0;  ///< of the trail, 0–1
  double trail_px_per_min = 0.0;
  std::string evidence;
};

/// The steady causes a fitted mount shows: axis misalignment and tracking rate (stopped and reversed included), largest
/// first. Causes that would trail a star by less than `least_px_per_min` anywhere on the last frame are left out.
[[nodiscard]] std::vector<TrailCause> steady_causes(const MountSolution& mount, const MountProblem& problem,
                                                    double least_px_per_min = 0.02);

}  // namespace polewright
