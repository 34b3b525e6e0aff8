// The motion of a sequence as one matrix: what the fits work on.
#pragma once

#include <Eigen/Dense>
#include <cstddef>
#include <vector>

#include "polewright/diagnose.hpp"

namespace polewright::diagnose {

/// Displacement of the star field: x px, y px at the centre, and roll times the half diagonal (px at the corner).
using Displacement = Eigen::Vector3d;

/// Places against time. Rows of `y` are weighted; columns are whitened to the stars' noise and turned so that the first
/// is the direction in which the tracking axis moves the field, once that direction is known.
struct Series {
  Eigen::VectorXd time_s, exposure_s;
  Eigen::VectorXd weight;  ///< square root of each frame's weight, 1 for a frame of typical noise
  Eigen::MatrixXd y;       ///< frames × 3
  Eigen::Matrix3d px_from_y = Eigen::Matrix3d::Identity();  ///< Displacement = px_from_y · (row of unweighted y)ᵀ
  /// Squares of the trails in the frames' own pixels, px² at the centre: Lx² − Ly² and 2 Lx Ly. A trail has no front
  /// end, so only its square can be compared with a movement; and the noise of a trail lies on its square.
  Eigen::MatrixXd smear;
  Eigen::VectorXd smear_sigma;  ///< px², as stated; 0 where the pixels show no trail
  bool direction_known = false;
  std::vector<std::size_t> frame;  ///< index into the night's frames

  [[nodiscard]] Eigen::Index size() const { return time_s.size(); }
  [[nodiscard]] double span_s() const { return size() < 2 ? 0.0 : time_s[size() - 1] - time_s[0]; }
  /// Median time from frame to frame.
  [[nodiscard]] double cadence_s() const;
  /// Turns the columns so that the unit vector `direction` (in whitened space) becomes the first.
  void turn_to(const Eigen::Vector3d& direction);
};

/// Series of the frames that have a time and a place. The tracking direction is known when the field has a pole.
[[nodiscard]] Series series_of(const std::vector<NightFrame>& frames, const NightField& field);

[[nodiscard]] double corner_px(const NightField& field);
/// Displacement that a small rotation vector of the stars about the camera gives, rad in camera axes; and back.
[[nodiscard]] Displacement displacement_of(const Vec<Camera>& star_turn_rad, const NightField& field);
[[nodiscard]] Vec<Camera> star_turn_of(const Displacement& displacement, const NightField& field);
/// Largest motion anywhere on the frame of a displacement.
[[nodiscard]] double worst_of(const Displacement& displacement, const NightField& field);

[[nodiscard]] double median_of(std::vector<double> values);
/// Median absolute deviation as a standard deviation.
[[nodiscard]] double robust_sigma(const std::vector<double>& values);

}  // namespace polewright::diagnose
