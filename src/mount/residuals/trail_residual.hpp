// Trails inside one frame: the camera's rotation relative to the stars during the exposure against the model's.
#pragma once

#include <ceres/ceres.h>

#include <Eigen/Core>

#include "mount/motion_model.hpp"

namespace polewright::mount_detail {

struct TrailResidual {
  Eigen::Vector3d rotation_in_camera;  ///< measured, rad, its sign chosen by the caller
  Eigen::Matrix3d whitening;
  Eigen::Vector3d pole_in_enu;
  double sky_rate_rad_per_s;  ///< −σω
  double exposure_s;

  /// axis (3), start attitude (4), turn (1), rate during the exposure in units of sidereal (1).
  template <class T>
  bool operator()(const T* axis, const T* start, const T* turn, const T* ratio, T* residual) const {
    // Camera over the ground turns with rate·ratio·axis, the sky with rate·pole; their difference, in camera axes.
    T attitude[4];
    camera_from_nominal_enu(start, axis, turn[0], pole_in_enu, T(0.0), attitude);
    T in_enu[3], in_camera[3];
    for (int i = 0; i < 3; ++i) in_enu[i] = sky_rate_rad_per_s * exposure_s * (ratio[0] * axis[i] - pole_in_enu[i]);
    ceres::QuaternionRotatePoint(attitude, in_enu, in_camera);
    for (int i = 0; i < 3; ++i) {
      residual[i] = T(0.0);
      for (int j = 0; j < 3; ++j) residual[i] += whitening(i, j) * (in_camera[j] - rotation_in_camera[j]);
    }
    return true;
  }

  static ceres::CostFunction* create(TrailResidual r) {
    return new ceres::AutoDiffCostFunction<TrailResidual, 3, 3, 4, 1, 1>(new TrailResidual(std::move(r)));
  }
};

}  // namespace polewright::mount_detail
