// Turn between two frames of one tracked run against a steady rate. Its noise is as large as periodic error, so that
// the mount's own unsteadiness stays in the turn and never reaches the axis.
#pragma once

#include <ceres/ceres.h>

namespace polewright::mount_detail {

struct TurnResidual {
  double interval_s;      ///< by the camera's clock
  double rate_rad_per_s;  ///< right-handed turn of a sidereal tracker about its axis: −σω
  double noise_rad;

  /// turn_a, turn_b in rad; time_a, time_b: time errors of the frames in s; ratio: rate in units of sidereal.
  template <class T>
  bool operator()(const T* turn_a, const T* turn_b, const T* time_a, const T* time_b, const T* ratio,
                  T* residual) const {
    const T interval = interval_s + time_b[0] - time_a[0];
    residual[0] = (turn_b[0] - turn_a[0] - ratio[0] * rate_rad_per_s * interval) / noise_rad;
    return true;
  }

  static ceres::CostFunction* create(double interval_s, double rate_rad_per_s, double noise_rad) {
    return new ceres::AutoDiffCostFunction<TurnResidual, 1, 1, 1, 1, 1, 1>(
        new TurnResidual{interval_s, rate_rad_per_s, noise_rad});
  }
};

}  // namespace polewright::mount_detail
