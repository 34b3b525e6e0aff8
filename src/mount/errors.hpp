// Axis and covariance over the ground into the figures people turn screws by.
#pragma once

#include <Eigen/Core>

#include "polewright/mount.hpp"

namespace polewright::mount_detail {

/// Rows: directions of growing altitude and of growing azimuth error (towards east) at a point of the sky, ENU.
[[nodiscard]] Eigen::Matrix<double, 2, 3> error_directions(const Eigen::Vector3d& axis, double hemisphere);
[[nodiscard]] Covariance2 on_sky_arcmin2(const Eigen::Vector3d& axis, const Eigen::Matrix3d& cov, double hemisphere);
/// Fills the axis, its errors and sigmas.
void describe_axis(MountSolution& solution, const Eigen::Vector3d& axis, const Eigen::Matrix3d& cov, Vec<Enu> pole,
                   double hemisphere);

}  // namespace polewright::mount_detail
