#include "identify/observed_sky.hpp"

#include <Eigen/Dense>

namespace polewright {

Rotation<Enu, Icrs> ObservedSky::nearest_rotation(const std::vector<Vec<Icrs>>& stars) const {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  for (const Vec<Icrs>& d : stars) {
    const Vec<Enu> o = sky_.observed(d);
    sum += Eigen::Vector3d(o.x, o.y, o.z) * Eigen::RowVector3d(d.x, d.y, d.z);
  }
  const Eigen::JacobiSVD<Eigen::Matrix3d> svd(sum, Eigen::ComputeFullU | Eigen::ComputeFullV);
  const double side = (svd.matrixU() * svd.matrixV().transpose()).determinant();
  const Eigen::Matrix3d best = svd.matrixU() * Eigen::Vector3d(1.0, 1.0, side).asDiagonal() * svd.matrixV().transpose();
  Rotation<Enu, Icrs> rotation;
  for (int i = 0; i < 3; ++i)
    for (int j = 0; j < 3; ++j) rotation.m[static_cast<std::size_t>(3 * i + j)] = best(i, j);
  return rotation;
}

Rotation<Enu, Icrs> ObservedSky::exact_at(Vec<Enu> centre, const Rotation<Enu, Icrs>& rotation) const {
  const Vec<Enu> there = rotation * sky_.icrs(centre), across = there.cross(centre);
  if (across.norm() < 1e-15) return rotation;
  return rotation_about(across.unit(), angle_between(there, centre)) * rotation;
}

}  // namespace polewright
