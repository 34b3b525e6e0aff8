#include "polewright/lens.hpp"

#include <limits>

#include "lens/projection.hpp"

namespace polewright {
namespace {

double distorted(const LensModel& lens, double r) {
  const double r2 = r * r;
  return r * (1.0 + lens.k1 * r2 + lens.k2 * r2 * r2);
}

/// Solves distorted(r) = target on the rising branch by Newton's method kept inside a bracket.
std::optional<double> undistorted_radius(const LensModel& lens, double target) {
  if (lens.k1 == 0.0 && lens.k2 == 0.0) return target;
  const double limit = largest_monotonic_radius(lens.k1, lens.k2);
  double low = 0.0, high = std::min(limit, 20.0);
  if (distorted(lens, high) < target) return {};
  double r = std::min(target, high);
  for (int i = 0; i < 100; ++i) {
    const double error = distorted(lens, r) - target;
    (error > 0.0 ? high : low) = r;
    const double r2 = r * r, slope = 1.0 + 3.0 * lens.k1 * r2 + 5.0 * lens.k2 * r2 * r2;
    double next = slope > 0.0 ? r - error / slope : 0.5 * (low + high);
    if (next <= low || next >= high) next = 0.5 * (low + high);
    if (std::abs(next - r) <= 1e-15 * (1.0 + r)) return next;
    r = next;
  }
  return r;
}

}  // namespace

std::optional<double> ideal_theta_rad(Projection p, double radius) {
  switch (p) {
    case Projection::rectilinear:
      return std::atan(radius);
    case Projection::equidistant:
      return radius < std::numbers::pi ? std::optional(radius) : std::nullopt;
    case Projection::equisolid:
      return radius < 2.0 ? std::optional(2.0 * std::asin(0.5 * radius)) : std::nullopt;
    case Projection::stereographic:
      return 2.0 * std::atan(0.5 * radius);
  }
  return {};
}

double largest_monotonic_radius(double k1, double k2) {
  // Smallest positive root u = r² of 1 + 3 k1 u + 5 k2 u².
  const double infinite = std::numeric_limits<double>::infinity();
  if (k2 == 0.0) return k1 < 0.0 ? std::sqrt(-1.0 / (3.0 * k1)) : infinite;
  const double disc = 9.0 * k1 * k1 - 20.0 * k2;
  if (disc < 0.0) return infinite;
  double best = infinite;
  for (const double sign : {-1.0, 1.0}) {
    const double u = (-3.0 * k1 + sign * std::sqrt(disc)) / (10.0 * k2);
    if (u > 0.0) best = std::min(best, u);
  }
  return std::sqrt(best);
}

std::optional<PixelPoint> LensModel::project(Vec<Camera> d) const {
  const double across = std::hypot(d.x, d.y);
  const double theta = std::atan2(across, d.z);
  if (theta > largest_theta_rad(projection)) return {};
  const double r = ideal_radius(projection, theta);
  if (r > largest_monotonic_radius(k1, k2)) return {};
  const double scale = across > 0.0 ? focal_px * distorted(*this, r) / across : 0.0;
  const double x = mirrored ? -d.x : d.x;
  return PixelPoint{principal_point.x + scale * x, principal_point.y + scale * d.y};
}

std::optional<Vec<Camera>> LensModel::unproject(PixelPoint pixel) const {
  const double dx = pixel.x - principal_point.x, dy = pixel.y - principal_point.y;
  const double across = std::hypot(dx, dy);
  const auto r = undistorted_radius(*this, across / focal_px);
  if (!r) return {};
  const auto theta = ideal_theta_rad(projection, *r);
  if (!theta || *theta > largest_theta_rad(projection)) return {};
  const double s = across > 0.0 ? std::sin(*theta) / across : 0.0;
  return Vec<Camera>{(mirrored ? -dx : dx) * s, dy * s, std::cos(*theta)};
}

Angle LensModel::scale_per_px() const {
  return Angle::rad(1.0 / focal_px);
}

LensModel centred_lens(Projection projection, double focal_px, int width_px, int height_px) {
  LensModel lens;
  lens.projection = projection;
  lens.focal_px = focal_px;
  lens.principal_point = {0.5 * (width_px - 1), 0.5 * (height_px - 1)};
  return lens;
}

}  // namespace polewright
