#include "identify/pose.hpp"

#include <cmath>

namespace polewright {
namespace {

/// Focal length at which two places (from the axis) are `angle` apart through a rectilinear lens, from
/// cos(angle) = (a·b + f²)/√((a² + f²)(b² + f²)), a quadratic in f².
std::optional<double> rectilinear_focal(PixelPoint a, PixelPoint b, double angle_rad) {
  const double sine = std::sin(angle_rad), sin2 = sine * sine, cos2 = 1.0 - sin2;
  const double ab = a.x * b.x + a.y * b.y, aa = a.x * a.x + a.y * a.y, bb = b.x * b.x + b.y * b.y;
  const double half = 0.5 * (2.0 * ab - cos2 * (aa + bb)), last = ab * ab - cos2 * aa * bb;
  const double disc = half * half - sin2 * last;
  if (disc < 0.0 || sin2 <= 0.0) return {};
  const double f2 = (-half + std::sqrt(disc)) / sin2;
  if (f2 <= 0.0 || f2 + ab <= 0.0) return {};
  return std::sqrt(f2);
}

/// The same for any lens: the angle goes nearly as 1/f, so scaling f by the ratio of angles converges in a few steps.
std::optional<double> focal_by_steps(LensModel lens, PixelPoint a, PixelPoint b, double angle_rad) {
  lens.focal_px = std::hypot(a.x - b.x, a.y - b.y) / angle_rad;
  for (int step = 0; step < 25; ++step) {
    const auto ca = lens.unproject({lens.principal_point.x + a.x, lens.principal_point.y + a.y});
    const auto cb = lens.unproject({lens.principal_point.x + b.x, lens.principal_point.y + b.y});
    if (!ca || !cb) return {};
    const double ratio = angle_between(*ca, *cb).rad() / angle_rad;
    lens.focal_px *= ratio;
    if (std::abs(ratio - 1.0) < 1e-6) return lens.focal_px;
  }
  return {};
}

template <class F>
std::array<Vec<F>, 3> triad(Vec<F> first, Vec<F> second) {
  const Vec<F> normal = first.cross(second).unit();
  return {first, normal, first.cross(normal)};
}

}  // namespace

Rotation<Camera, Icrs> attitude_from_two(Vec<Icrs> sky1, Vec<Icrs> sky2, Vec<Camera> camera1, Vec<Camera> camera2) {
  const auto s = triad(sky1, sky2);
  const auto c = triad(camera1, camera2);
  Rotation<Camera, Icrs> r;
  r.m.fill(0.0);
  for (std::size_t k = 0; k < 3; ++k) {
    const std::array<double, 3> ck{c[k].x, c[k].y, c[k].z}, sk{s[k].x, s[k].y, s[k].z};
    for (std::size_t i = 0; i < 3; ++i)
      for (std::size_t j = 0; j < 3; ++j) r.m[3 * i + j] += ck[i] * sk[j];
  }
  return r;
}

std::optional<Pose> pose_from_fan(const FanMatch& fan, LensModel lens) {
  const PixelPoint axis = lens.principal_point;
  const PixelPoint a{fan.place[0].x - axis.x, fan.place[0].y - axis.y};
  const PixelPoint b{fan.place[3].x - axis.x, fan.place[3].y - axis.y};
  const double angle = angle_between(fan.direction[0], fan.direction[3]).rad();
  const bool plain = lens.projection == Projection::rectilinear && lens.k1 == 0.0 && lens.k2 == 0.0;
  const auto focal = plain ? rectilinear_focal(a, b, angle) : focal_by_steps(lens, a, b, angle);
  if (!focal) return {};
  lens.focal_px = *focal;
  const auto ca = lens.unproject(fan.place[0]), cb = lens.unproject(fan.place[3]);
  if (!ca || !cb) return {};
  return Pose{attitude_from_two(fan.direction[0], fan.direction[3], *ca, *cb), lens};
}

}  // namespace polewright
