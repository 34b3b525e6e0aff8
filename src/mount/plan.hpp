// Expected uncertainty of frames not yet taken, by the same sums and the same problem as the fit.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "mount/axis_problem.hpp"
#include "polewright/mount.hpp"

namespace polewright::mount_detail {

struct PlanFrame {
  AxisFrame frame;
  int stars = 0;
  double star_sigma_px = 0.0;
};

struct PlanScene {
  LensModel lens;
  int width_px = 0, height_px = 0;
  Eigen::Vector3d pole_in_enu, axis_in_enu;
  double sky_rate_rad_per_s = 0.0;
  double wobble_rad = 0.0;
};

/// Covariance of the last axis in ENU, rad²; nothing when the frames do not show it.
[[nodiscard]] std::optional<Eigen::Matrix3d> planned_axis_covariance(const PlanScene& scene,
                                                                     const std::vector<PlanFrame>& frames);

}  // namespace polewright::mount_detail
