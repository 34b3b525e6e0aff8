// The tracking rate from the turns of the tracked frames.
#pragma once

#include <optional>

#include "mount/axis_problem.hpp"
#include "polewright/mount.hpp"

namespace polewright::mount_detail {

struct Rate {
  double ratio = 0.0;                 ///< of sidereal, mean over the tracked time
  double sigma = 0.0;                 ///< of that mean, from stars and intervals
  std::optional<Angle> turn_scatter;  ///< rms about the steady rate; from four frames of one run up
  bool changed = false;               ///< the rate differs between parts of the series; ratio is the last part's
};

/// Nothing without two tracked frames.
[[nodiscard]] std::optional<Rate> mean_rate(const AxisSetup& setup, const AxisFit& fit);
/// The usual rate that a ratio stands for.
[[nodiscard]] RateMatch match_rate(double ratio, double sigma);

}  // namespace polewright::mount_detail
