// Search: from fans of the picture through the pattern index to poses worth a closer look.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "identify/detections.hpp"
#include "identify/pattern_index.hpp"
#include "identify/pose.hpp"

namespace polewright {

/// A fan of the picture that looks like one of the sky, and the pose that follows.
struct Candidate {
  FanMatch fan;
  Pose pose;
  double reach_px = 0.0;  ///< size of the neighbourhood on the frame in which the pose has been checked
};

struct SearchPlan {
  double shortest_focal_px = 0.0, longest_focal_px = 1e9;
  std::optional<Vec<Icrs>> centre;  ///< only poses whose frame centre is within centre_radius
  Angle centre_radius;
  /// Lens through which fans of the picture are seen before their shape is compared; without it they are compared as
  /// they are on the frame, which is near enough where the field is narrow or the fan near the axis.
  std::optional<LensModel> shape;
  std::vector<std::uint32_t> brightest{20, 40, 80, 160, 320};  ///< how many detections are tried, one after another
  double densest_spacing_deg = 0.0;                            ///< leaves out levels denser than this
  double base_tolerance = 0.008;  ///< of a fan's code: lens distortion of 1 % and the step of the stored code
  double deadline_s = 1e300;  ///< by thread_seconds()
};

struct SearchCounts {
  std::uint64_t fans = 0, lookups = 0, matches = 0, posed = 0, passed = 0;
};

/// Calls accept(candidate) for each pose whose neighbourhood agrees with the sky, until it returns true or the fans or
/// the time are used up. True when a candidate was accepted.
bool search(const Detections& detections, const PatternIndex& index, const SearchPlan& plan,
            const std::function<bool(const Candidate&)>& accept, SearchCounts& counts);

}  // namespace polewright
