#include "truth/mount/sessions/bound.hpp"

#include <Eigen/Dense>

namespace polewright::test {
namespace {

Vec<Camera> ray(BoundLens l, PixelPoint p) {
  return Vec<Camera>{(p.x - l.cx) / l.focal_px, (p.y - l.cy) / l.focal_px, 1.0}.unit();
}

Eigen::Vector2d seen(BoundLens l, Vec<Camera> d) {
  return {l.cx + l.focal_px * d.x / d.z, l.cy + l.focal_px * d.y / d.z};
}

/// Information of one frame's stars on a small turn of the camera about its axes, rad⁻².
Eigen::Matrix3d turn_information(const BoundFrame& f, BoundLens lens, double sigma_px) {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  const double h = 1e-6;
  for (std::size_t i = 0; i < f.stars.size(); ++i) {
    const Vec<Camera> d = ray(lens, f.stars[i]);
    const double sigma = f.sigma_px.empty() ? sigma_px : f.sigma_px[i];
    Eigen::Matrix<double, 2, 3> j;
    const Vec<Camera> unit[3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    for (int k = 0; k < 3; ++k)
      j.col(k) = (seen(lens, d + unit[k].cross(d) * h) - seen(lens, d - unit[k].cross(d) * h)) / (2.0 * h);
    sum += j.transpose() * j / (sigma * sigma);
  }
  return sum;
}

Eigen::Matrix3d matrix(Rotation<Camera, Enu> r) {
  return Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(r.m.data());
}

}  // namespace

AxisBound axis_bound(const std::vector<BoundFrame>& frames, Vec<Enu> axis, const Site& site, BoundLens lens,
                     double sigma_px, bool known_turns) {
  int pointings = 0;
  for (const BoundFrame& f : frames) pointings = std::max(pointings, f.pointing + 1);
  // Unknown: axis (altitude, azimuth on the sky), attitude of each pointing (turn in ENU), turn of each frame.
  const Eigen::Index n = 2 + 3 * pointings + static_cast<Eigen::Index>(frames.size());
  Eigen::MatrixXd information = Eigen::MatrixXd::Zero(n, n);
  std::vector<const BoundFrame*> first(static_cast<std::size_t>(pointings), nullptr);
  const Angle altitude = altitude_of(axis), azimuth = azimuth_of(axis);
  const double sense = site.latitude.rad() >= 0 ? 1.0 : -1.0;
  const Vec<Enu> up{-sin(altitude) * sin(azimuth), -sin(altitude) * cos(azimuth), cos(altitude)};
  const Vec<Enu> east = Vec<Enu>{cos(azimuth), -sin(azimuth), 0.0} * sense;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const BoundFrame& f = frames[i];
    auto& origin = first[static_cast<std::size_t>(f.pointing)];
    if (!origin) origin = &f;
    // enu_from_camera of this frame = T · that of the pointing's first frame, with T a turn about the axis.
    const Eigen::Matrix3d t = matrix(f.camera_from_enu).transpose() * matrix(origin->camera_from_enu);
    const auto e = [](Vec<Enu> v) { return Eigen::Vector3d(v.x, v.y, v.z); };
    // Tilting the axis by a small rotation g turns T into G·T·Gᵀ: a small turn (1 − T)·g on the left of T.
    const Eigen::Matrix3d tilt = Eigen::Matrix3d::Identity() - t;
    Eigen::MatrixXd j = Eigen::MatrixXd::Zero(3, n);
    j.col(0) = tilt * e(axis.cross(up));
    j.col(1) = tilt * e(axis.cross(east));
    j.middleCols<3>(2 + 3 * f.pointing) = t;
    j.col(2 + 3 * pointings + static_cast<Eigen::Index>(i)) = e(axis);
    // A turn g of enu_from_camera on the ground moves stars in the camera by −C·g.
    const Eigen::Matrix3d camera = matrix(f.camera_from_enu);
    information += j.transpose() * camera.transpose() * turn_information(f, lens, sigma_px) * camera * j;
  }
  std::vector<Eigen::Index> free;
  for (Eigen::Index k = 0; k < n; ++k) {
    const Eigen::Index frame = k - 2 - 3 * pointings;
    if (frame >= 0 &&
        (known_turns || first[static_cast<std::size_t>(frames[static_cast<std::size_t>(frame)].pointing)] ==
                            &frames[static_cast<std::size_t>(frame)]))
      continue;
    free.push_back(k);
  }
  const Eigen::MatrixXd cov = Eigen::MatrixXd(information(free, free)).inverse();
  AxisBound bound;
  bound.altitude_sigma = Angle::rad(std::sqrt(cov(0, 0)));
  bound.azimuth_on_sky_sigma = Angle::rad(std::sqrt(cov(1, 1)));
  bound.total_sigma = Angle::rad(std::sqrt(cov(0, 0) + cov(1, 1)));
  bound.turn_sigma_rad.assign(frames.size(), 0.0);
  for (std::size_t k = 0; k < free.size(); ++k)
    if (free[k] >= 2 + 3 * pointings)
      bound.turn_sigma_rad[static_cast<std::size_t>(free[k] - 2 - 3 * pointings)] =
          std::sqrt(cov(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(k)));
  return bound;
}

AxisBound axis_bound(const Session& session, const SessionSpec& spec, double sigma_px) {
  std::vector<BoundFrame> frames;
  for (std::size_t i = 0; i < session.problem.frames.size(); ++i) {
    BoundFrame f{session.camera_from_enu[i], spec.frames[i].pointing, {}};
    for (const MountStar& s : session.problem.frames[i].stars) f.stars.push_back(s.measured);
    frames.push_back(std::move(f));
  }
  return axis_bound(frames, session.axis, spec.site,
                    {spec.focal_mm * 1000.0 / spec.pitch_um, 0.5 * (spec.width_px - 1), 0.5 * (spec.height_px - 1)},
                    sigma_px);
}

}  // namespace polewright::test
