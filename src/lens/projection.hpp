// Ideal radial mappings r(θ), in focal lengths, and their inverses.
#pragma once

#include <cmath>
#include <numbers>
#include <optional>

#include "polewright/lens.hpp"

namespace polewright {

/// Largest angle from the axis a projection can show. Rectilinear stops short of 90° where r grows without bound.
[[nodiscard]] inline double largest_theta_rad(Projection p) {
  return p == Projection::rectilinear ? 85.0 * std::numbers::pi / 180.0 : std::numbers::pi * 0.999;
}

/// Radius in focal lengths of a direction theta_rad off the axis. Any real scalar (double, automatic derivative).
template <class T>
[[nodiscard]] T ideal_radius(Projection p, const T& theta_rad) {
  using std::sin, std::tan;
  switch (p) {
    case Projection::rectilinear:
      return tan(theta_rad);
    case Projection::equidistant:
      return theta_rad;
    case Projection::equisolid:
      return 2.0 * sin(0.5 * theta_rad);
    case Projection::stereographic:
      return 2.0 * tan(0.5 * theta_rad);
  }
  return theta_rad;
}

/// Inverse of ideal_radius; nothing beyond the largest radius of the projection.
[[nodiscard]] std::optional<double> ideal_theta_rad(Projection p, double radius);

/// Radius up to which r·(1 + k1 r² + k2 r⁴) grows; infinite when it always does.
[[nodiscard]] double largest_monotonic_radius(double k1, double k2);

}  // namespace polewright
