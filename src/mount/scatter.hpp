// How far the frames miss one rigid axis, and what that adds to its uncertainty: wobble within a pointing, sag between.
#pragma once

#include <optional>

#include "mount/axis_problem.hpp"
#include "polewright/mount.hpp"

namespace polewright::mount_detail {

struct Scatter {
  AxisFit fit;                 ///< with the scatter allowed for
  std::optional<HeadSag> sag;  ///< with two pointings or more
  double needed_wobble_rad = 0.0;
  bool too_large = false;  ///< no wobble within the option explains the misfit
};

/// Fits the axis; sets setup.wobble_rad and setup.tilt_sigma_rad to the smallest values that explain the misfit.
[[nodiscard]] Scatter fit_with_scatter(AxisSetup& setup, const MountOptions& options);

}  // namespace polewright::mount_detail
