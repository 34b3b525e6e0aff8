// Where a camera on a turning axis looks; templated so that values and automatic derivatives come from one formula.
#pragma once

#include <ceres/rotation.h>

#include <Eigen/Core>

namespace polewright::mount_detail {

/// Quaternion (w, x, y, z) of a right-handed turn about a unit axis.
template <class T>
void quaternion_about(const T axis[3], const T& turn, T q[4]) {
  using std::cos, std::sin;
  const T s = sin(0.5 * turn);
  q[0] = cos(0.5 * turn);
  for (int i = 0; i < 3; ++i) q[i + 1] = s * axis[i];
}

template <class T>
void conjugate(const T q[4], T out[4]) {
  out[0] = q[0];
  for (int i = 1; i < 4; ++i) out[i] = -q[i];
}

/// Axis of one pointing: the mount's axis leaning by `tilt` (rad, along two fixed directions) as a sagging head feigns.
template <class T>
void leaning_axis(const T axis[3], const T tilt[2], const Eigen::Matrix<double, 3, 2>& directions, T out[3]) {
  for (int i = 0; i < 3; ++i) out[i] = axis[i] + directions(i, 0) * tilt[0] + directions(i, 1) * tilt[1];
  using std::sqrt;
  const T norm = sqrt(out[0] * out[0] + out[1] * out[1] + out[2] * out[2]);
  for (int i = 0; i < 3; ++i) out[i] /= norm;
}

/// Attitude in the sky computed with the nominal clock: camera_from_enu = start · R(axis, turn)ᵀ · R(pole, sky_turn).
/// sky_turn is what the sky really turned beyond the nominal clock, right-handed about the visible pole.
template <class T>
void camera_from_nominal_enu(const T start[4], const T axis[3], const T& turn, const Eigen::Vector3d& pole,
                             const T& sky_turn, T out[4]) {
  T mount[4], sky[4], first[4];
  const T pole_t[3] = {T(pole.x()), T(pole.y()), T(pole.z())};
  quaternion_about(axis, T(-turn), mount);
  quaternion_about(pole_t, sky_turn, sky);
  ceres::QuaternionProduct(start, mount, first);
  ceres::QuaternionProduct(first, sky, out);
}

}  // namespace polewright::mount_detail
