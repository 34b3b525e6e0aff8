// Directions and rotations that know their reference frame, so that a mix-up does not compile.
// Reference frames are described in DEVELOPERS.md, "Frames and signs".
#pragma once

#include <array>
#include <cmath>

#include "polewright/angle.hpp"

namespace polewright {

/// Local horizon at the site: x east, y north, z up.
struct Enu {};
/// Camera: x right, y down, z forward, for a picture that is not mirrored.
struct Camera {};
/// ICRS: x to the vernal equinox, z to the north celestial pole of J2000.
struct Icrs {};

/// A vector in reference frame F. Directions are kept at unit length; angular velocities are in rad/s.
template <class F>
struct Vec {
  double x = 0.0, y = 0.0, z = 0.0;

  constexpr Vec operator+(Vec o) const { return {x + o.x, y + o.y, z + o.z}; }
  constexpr Vec operator-(Vec o) const { return {x - o.x, y - o.y, z - o.z}; }
  constexpr Vec operator-() const { return {-x, -y, -z}; }
  constexpr Vec operator*(double s) const { return {x * s, y * s, z * s}; }
  [[nodiscard]] constexpr double dot(Vec o) const { return x * o.x + y * o.y + z * o.z; }
  [[nodiscard]] constexpr Vec cross(Vec o) const { return {y * o.z - z * o.y, z * o.x - x * o.z, x * o.y - y * o.x}; }
  [[nodiscard]] double norm() const { return std::sqrt(dot(*this)); }
  [[nodiscard]] Vec unit() const { return *this * (1.0 / norm()); }
};

/// Angle between two directions; accurate for tiny and for nearly opposite ones.
template <class F>
[[nodiscard]] Angle angle_between(Vec<F> a, Vec<F> b) {
  return Angle::rad(std::atan2(a.cross(b).norm(), a.dot(b)));
}

/// Rotation that takes a vector in frame From to frame To; row-major orthonormal matrix.
template <class To, class From>
struct Rotation {
  std::array<double, 9> m{1, 0, 0, 0, 1, 0, 0, 0, 1};

  constexpr Vec<To> operator*(Vec<From> v) const {
    return {m[0] * v.x + m[1] * v.y + m[2] * v.z, m[3] * v.x + m[4] * v.y + m[5] * v.z,
            m[6] * v.x + m[7] * v.y + m[8] * v.z};
  }
  template <class Next>
  constexpr Rotation<To, Next> operator*(const Rotation<From, Next>& o) const {
    Rotation<To, Next> r;
    for (int i = 0; i < 3; ++i)
      for (int j = 0; j < 3; ++j)
        r.m[3 * i + j] = m[3 * i] * o.m[j] + m[3 * i + 1] * o.m[3 + j] + m[3 * i + 2] * o.m[6 + j];
    return r;
  }
  [[nodiscard]] constexpr Rotation<From, To> inverse() const {
    return {{m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]}};
  }
};

/// Right-handed rotation by `turn` about the unit vector `axis` (Rodrigues).
template <class F>
[[nodiscard]] Rotation<F, F> rotation_about(Vec<F> axis, Angle turn) {
  const double s = sin(turn), c = cos(turn), k = 1.0 - c;
  const auto [x, y, z] = axis;
  return {{c + x * x * k, x * y * k - z * s, x * z * k + y * s,  //
           y * x * k + z * s, c + y * y * k, y * z * k - x * s,  //
           z * x * k - y * s, z * y * k + x * s, c + z * z * k}};
}

/// Direction from azimuth (north through east) and altitude.
[[nodiscard]] inline Vec<Enu> enu_from_horizontal(Angle azimuth, Angle altitude) {
  return {sin(azimuth) * cos(altitude), cos(azimuth) * cos(altitude), sin(altitude)};
}
[[nodiscard]] inline Angle altitude_of(Vec<Enu> v) {
  return Angle::rad(std::atan2(v.z, std::hypot(v.x, v.y)));
}
/// Azimuth in [0, 2π), north through east.
[[nodiscard]] inline Angle azimuth_of(Vec<Enu> v) {
  return Angle::rad(std::atan2(v.x, v.y)).wrapped_positive();
}

[[nodiscard]] inline Vec<Icrs> icrs_from_equatorial(Angle ra, Angle dec) {
  return {cos(ra) * cos(dec), sin(ra) * cos(dec), sin(dec)};
}
[[nodiscard]] inline Angle right_ascension_of(Vec<Icrs> v) {
  return Angle::rad(std::atan2(v.y, v.x)).wrapped_positive();
}
[[nodiscard]] inline Angle declination_of(Vec<Icrs> v) {
  return Angle::rad(std::atan2(v.z, std::hypot(v.x, v.y)));
}

/// A place on the frame. (0, 0) is the centre of the first stored pixel, x along a row, y down the stored rows.
struct PixelPoint {
  double x = 0.0, y = 0.0;
};

/// Symmetric 2×2 matrix: variances and covariance of a plane vector, in the square of its unit.
struct Covariance2 {
  double xx = 0.0, xy = 0.0, yy = 0.0;
};

}  // namespace polewright
