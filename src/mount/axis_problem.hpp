// The one least-squares problem of the mount: axis, turns, start attitudes, lens and times, over all frames kept.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <optional>
#include <vector>

#include "mount/star_terms.hpp"

namespace polewright::mount_detail {

struct AxisFrame {
  Eigen::Matrix3d camera_from_enu;  ///< from the stars alone
  double time_s = 0.0;              ///< by the camera's clock, any origin
  double time_sigma_s = 0.0;
  int group = 0;                       ///< camera untouched on its head; numbered from 0 without gaps
  int epoch = 0;                       ///< axis untouched
  bool tracked_from_previous = false;  ///< nobody turned the axis by hand since the previous frame kept
  double exposure_s = 0.0;
  std::optional<Eigen::Vector3d> trail;  ///< camera relative to the stars during the exposure, camera axes, rad
  Eigen::Matrix3d trail_cov = Eigen::Matrix3d::Zero();
};

struct AxisSetup {
  std::vector<AxisFrame> frames;
  Eigen::MatrixXd covariance;  ///< of (φ of each frame in `frames`, lens)
  Eigen::Matrix<double, kLensParameters, 1> lens;
  Eigen::Vector3d pole_in_enu;
  double sky_rate_rad_per_s = 0.0;  ///< −σω
  double clock_sigma_s = 0.0;       ///< clock and longitude together
  double turn_noise_rad = 0.0;
  double wobble_rad = 0.0;                  ///< added to every attitude, per axis
  double tilt_sigma_rad = 0.0;              ///< lean of the axis from pointing to pointing; 0: none allowed
  std::vector<Eigen::Vector3d> start_axes;  ///< one per epoch
};

struct AxisFit {
  bool solved = false;     ///< false: no convergence
  bool full_rank = false;  ///< false: the covariance below does not exist
  std::vector<Eigen::Vector3d> axes;
  std::vector<Eigen::Matrix3d> axis_cov;  ///< in ENU, rad²
  std::vector<Eigen::Vector2d> tilts;     ///< per group
  std::vector<Eigen::Quaterniond> start;  ///< per group
  std::vector<double> turns, time_errors_s;
  Eigen::MatrixXd turn_time_cov;  ///< of (turns, time errors); a group's first turn is exact by definition
  Eigen::Matrix<double, kLensParameters, 1> lens;
  double chi2 = 0.0;  ///< of the attitudes and the leans
  int dof = 0;        ///< attitudes' equations less what was fitted to them
};

[[nodiscard]] AxisFit fit_axis(const AxisSetup& setup);
/// Model attitude of a frame.
[[nodiscard]] Eigen::Matrix3d model_attitude(const AxisSetup& setup, const AxisFit& fit, std::size_t frame);

}  // namespace polewright::mount_detail
