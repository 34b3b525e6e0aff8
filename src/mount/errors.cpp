#include "mount/errors.hpp"

#include <cmath>

#include "mount/linear.hpp"

namespace polewright::mount_detail {

Eigen::Matrix<double, 2, 3> error_directions(const Eigen::Vector3d& axis, double hemisphere) {
  const double across = std::hypot(axis.x(), axis.y());
  const double sin_a = across > 0.0 ? axis.x() / across : 0.0, cos_a = across > 0.0 ? axis.y() / across : hemisphere;
  Eigen::Matrix<double, 2, 3> d;
  d << -axis.z() * sin_a, -axis.z() * cos_a, across, hemisphere * cos_a, -hemisphere * sin_a, 0.0;
  return d;
}

Covariance2 on_sky_arcmin2(const Eigen::Vector3d& axis, const Eigen::Matrix3d& cov, double hemisphere) {
  const auto d = error_directions(axis, hemisphere);
  const double per_rad = Angle::rad(1.0).arcmin();
  const Eigen::Matrix2d c = d * cov * d.transpose() * per_rad * per_rad;
  return {c(0, 0), c(0, 1), c(1, 1)};
}

void describe_axis(MountSolution& s, const Eigen::Vector3d& axis, const Eigen::Matrix3d& cov, Vec<Enu> pole,
                   double hemisphere) {
  s.axis = from_eigen<Enu>(axis);
  s.pole = pole;
  const Angle altitude = altitude_of(s.axis);
  s.altitude_error = altitude - altitude_of(pole);
  s.azimuth_error = (azimuth_of(s.axis) - azimuth_of(pole)).wrapped_signed() * hemisphere;
  s.azimuth_error_on_sky = s.azimuth_error * cos(altitude);
  s.total_error = angle_between(s.axis, pole);
  s.on_sky_cov_arcmin2 = on_sky_arcmin2(axis, cov, hemisphere);
  s.altitude_sigma = Angle::arcmin(std::sqrt(s.on_sky_cov_arcmin2.xx));
  s.azimuth_on_sky_sigma = Angle::arcmin(std::sqrt(s.on_sky_cov_arcmin2.yy));
  s.azimuth_sigma = s.azimuth_on_sky_sigma / cos(altitude);
  s.total_sigma = Angle::arcmin(std::sqrt(s.on_sky_cov_arcmin2.xx + s.on_sky_cov_arcmin2.yy));
}

}  // namespace polewright::mount_detail
