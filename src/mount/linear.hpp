// The project's plain vectors and rotations as Eigen's, and back.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>

#include "polewright/geometry.hpp"

namespace polewright::mount_detail {

template <class F>
[[nodiscard]] Eigen::Vector3d to_eigen(Vec<F> v) {
  return {v.x, v.y, v.z};
}
template <class F>
[[nodiscard]] Vec<F> from_eigen(const Eigen::Vector3d& v) {
  return {v.x(), v.y(), v.z()};
}
template <class To, class From>
[[nodiscard]] Eigen::Matrix3d to_eigen(const Rotation<To, From>& r) {
  return Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(r.m.data());
}
template <class To, class From>
[[nodiscard]] Rotation<To, From> from_eigen(const Eigen::Matrix3d& m) {
  Rotation<To, From> r;
  Eigen::Map<Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(r.m.data()) = m;
  return r;
}
/// Rotation by the vector's length about its direction.
[[nodiscard]] inline Eigen::Matrix3d rotation_by(const Eigen::Vector3d& v) {
  const double angle = v.norm();
  if (angle == 0.0) return Eigen::Matrix3d::Identity();
  return Eigen::AngleAxisd(angle, v / angle).toRotationMatrix();
}
/// Inverse of rotation_by(), angle in [0, π].
[[nodiscard]] inline Eigen::Vector3d rotation_vector(const Eigen::Matrix3d& m) {
  const Eigen::AngleAxisd a{Eigen::Quaterniond(m).normalized()};
  const double angle = a.angle() > M_PI ? a.angle() - 2.0 * M_PI : a.angle();
  return a.axis() * angle;
}

}  // namespace polewright::mount_detail
