// Measured stars with the places they should have over the ground: the input of the attitude fit.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <vector>

#include "polewright/mount.hpp"

namespace polewright::mount_detail {

struct Observation {
  Eigen::Vector2d measured_px;
  Eigen::Matrix2d information;   ///< inverse covariance of the measurement, px⁻²
  Eigen::Vector3d place_in_enu;  ///< observed place at mid-exposure, camera clock and site taken as true
  std::uint32_t common = 0;      ///< observations with the same number share one model error
};

struct StarData {
  std::vector<std::vector<Observation>> frames;
  std::vector<Eigen::Matrix3d> start_camera_from_enu;
  std::size_t commons = 0;
};

/// Observed places of all stars and which observations share a model error: the same star on nearly the same pixels.
/// Stars below the horizon's refraction limit or with a broken covariance are left out.
[[nodiscard]] StarData prepare_stars(const MountProblem& problem, int threads);

}  // namespace polewright::mount_detail
