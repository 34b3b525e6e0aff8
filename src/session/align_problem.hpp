// From measured and identified frames to the problem the mount stage solves.
#pragma once

#include <string>
#include <vector>

#include "polewright/mount.hpp"
#include "session/load.hpp"

namespace polewright::session {

struct AlignProblem {
  MountProblem problem;
  /// What the person must supply before a direction can be given; empty when nothing is missing. With something
  /// missing the problem is posed at the geographic pole without air, where the equator is the horizon: the size of the
  /// error, the rate and the drift come out right (to the 1–3′ that refraction lifts the pole), the direction does not.
  std::string missing;
};

/// Frames that were not identified or carry no time are left out.
[[nodiscard]] AlignProblem build_problem(const std::vector<MeasuredFrame>& frames, const SessionOptions& options);

}  // namespace polewright::session
