#include "simulate/projection.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::simulate {
namespace {

double ideal_radius(Projection projection, double theta) {
  switch (projection) {
    case Projection::rectilinear:
      return std::tan(theta);
    case Projection::equidistant:
      return theta;
    case Projection::equisolid:
      return 2.0 * std::sin(0.5 * theta);
    case Projection::stereographic:
      return 2.0 * std::tan(0.5 * theta);
  }
  return 0.0;
}

double ideal_angle(Projection projection, double r) {
  switch (projection) {
    case Projection::rectilinear:
      return std::atan(r);
    case Projection::equidistant:
      return r;
    case Projection::equisolid:
      return 2.0 * std::asin(std::min(1.0, 0.5 * r));
    case Projection::stereographic:
      return 2.0 * std::atan(0.5 * r);
  }
  return 0.0;
}

double distorted(const Lens& lens, double r) {
  return r * (1.0 + r * r * (lens.k1 + r * r * lens.k2));
}
double distorted_slope(const Lens& lens, double r) {
  return 1.0 + r * r * (3.0 * lens.k1 + 5.0 * lens.k2 * r * r);
}

/// Ideal radius at which the image ends: the projection's own limit or the first zero of the polynomial's slope.
double largest_ideal_radius(const Lens& lens) {
  const double widest = lens.projection == Projection::rectilinear ? 85.0 : 100.0;
  double limit = ideal_radius(lens.projection, widest * std::numbers::pi / 180.0);
  // 1 + 3 k1 q + 5 k2 q² = 0 for q = r²; the smaller positive root ends the image.
  const double a = 5.0 * lens.k2, b = 3.0 * lens.k1, disc = b * b - 4.0 * a;
  const auto consider = [&](double q) {
    if (q > 0.0) limit = std::min(limit, std::sqrt(q));
  };
  if (std::abs(a) < 1e-15) {
    if (b < 0.0) consider(-1.0 / b);
  } else if (disc >= 0.0) {
    consider((-b + std::sqrt(disc)) / (2.0 * a));
    consider((-b - std::sqrt(disc)) / (2.0 * a));
  }
  return limit;
}

double undistorted(const Lens& lens, double rd, double limit) {
  double low = 0.0, high = limit, r = std::min(rd, limit);
  for (int i = 0; i < 80; ++i) {
    const double miss = distorted(lens, r) - rd;
    if (std::abs(miss) < 1e-15 * std::max(1.0, rd)) break;
    (miss > 0.0 ? high : low) = r;
    const double slope = distorted_slope(lens, r);
    const double newton = slope > 0.0 ? r - miss / slope : low - 1.0;
    r = newton > low && newton < high ? newton : 0.5 * (low + high);
  }
  return r;
}

}  // namespace

std::optional<PixelPoint> project(const Lens& lens, Vec<Camera> d) {
  const double across = std::hypot(d.x, d.y);
  const double limit = largest_ideal_radius(lens);
  double factor = 1.0;  // image radius per unit of `across`
  if (lens.projection == Projection::rectilinear) {
    if (d.z <= 0.0 || across > limit * d.z) return std::nullopt;
    factor = 1.0 / d.z;
  } else {
    const double r = ideal_radius(lens.projection, std::atan2(across, d.z));
    // An equisolid or stereographic radius grows with the angle over the whole sphere, so comparing radii suffices.
    if (r > limit) return std::nullopt;
    factor = across > 1e-12 ? r / across : 1.0;
  }
  const double q = across * factor * across * factor;
  const double scale = lens.focal_px() * factor * (1.0 + q * (lens.k1 + q * lens.k2));
  const PixelPoint centre = lens.principal_point();
  return PixelPoint{centre.x + (lens.mirrored ? -d.x : d.x) * scale, centre.y + d.y * scale};
}

std::optional<Vec<Camera>> unproject(const Lens& lens, PixelPoint pixel) {
  const PixelPoint centre = lens.principal_point();
  const double x = (lens.mirrored ? centre.x - pixel.x : pixel.x - centre.x) / lens.focal_px();
  const double y = (pixel.y - centre.y) / lens.focal_px();
  const double rd = std::hypot(x, y);
  if (rd < 1e-14) return Vec<Camera>{0.0, 0.0, 1.0};
  const double limit = largest_ideal_radius(lens);
  if (rd > distorted(lens, limit)) return std::nullopt;
  const double theta = ideal_angle(lens.projection, undistorted(lens, rd, limit));
  const double s = std::sin(theta) / rd;
  return Vec<Camera>{x * s, y * s, std::cos(theta)};
}

Angle image_limit(const Lens& lens) {
  return Angle::rad(ideal_angle(lens.projection, largest_ideal_radius(lens)));
}

double image_circle_px(const Lens& lens) {
  return lens.focal_px() * distorted(lens, largest_ideal_radius(lens));
}

Angle frame_radius(const Lens& lens) {
  Angle widest;
  for (const double x : {-0.5, lens.width_px - 0.5}) {
    for (const double y : {-0.5, lens.height_px - 0.5}) {
      const auto d = unproject(lens, {x, y});
      widest = std::max(widest, d ? Angle::rad(std::atan2(std::hypot(d->x, d->y), d->z)) : image_limit(lens));
    }
  }
  return widest;
}

}  // namespace polewright::simulate
