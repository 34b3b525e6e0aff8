#include "identify/observed_field.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cassert>
#include <numbers>

#include "polewright/sky.hpp"

namespace polewright {

ObservedField observe(const std::vector<FieldStar>& field, UtcTime time, const Site& site) {
  assert(field.size() >= 2);
  const SkyAt sky(time, site, Weather{});
  std::vector<Vec<Enu>> seen;
  // The rotation that minimises the squared distances (Wahba's problem, solved by singular values).
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  ObservedField observed;
  observed.lowest_altitude = Angle::deg(90.0);
  for (const FieldStar& s : field) {
    const Vec<Enu> o = sky.observed(s.direction);
    seen.push_back(o);
    observed.lowest_altitude = std::min(observed.lowest_altitude, altitude_of(o));
    sum += Eigen::Vector3d(o.x, o.y, o.z) * Eigen::RowVector3d(s.direction.x, s.direction.y, s.direction.z);
  }
  const Eigen::JacobiSVD<Eigen::Matrix3d> svd(sum, Eigen::ComputeFullU | Eigen::ComputeFullV);
  const double side = (svd.matrixU() * svd.matrixV().transpose()).determinant();
  const Eigen::Matrix3d best = svd.matrixU() * Eigen::Vector3d(1.0, 1.0, side).asDiagonal() * svd.matrixV().transpose();
  for (int i = 0; i < 3; ++i)
    for (int j = 0; j < 3; ++j) observed.enu_from_icrs.m[static_cast<std::size_t>(3 * i + j)] = best(i, j);
  const auto back = observed.enu_from_icrs.inverse();
  for (const Vec<Enu>& o : seen) observed.direction.push_back((back * o).unit());
  return observed;
}

}  // namespace polewright
