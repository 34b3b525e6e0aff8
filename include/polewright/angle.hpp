// Angle: the only way an angle crosses a function boundary without its unit in the name.
#pragma once

#include <cmath>
#include <compare>
#include <numbers>

namespace polewright {

/// A plane angle. Construction and reading both name the unit; there is no conversion from or to double.
class Angle {
 public:
  constexpr Angle() = default;

  static constexpr Angle rad(double v) { return Angle(v); }
  static constexpr Angle deg(double v) { return Angle(v * kRadPerDeg); }
  static constexpr Angle hours(double v) { return Angle(v * 15.0 * kRadPerDeg); }
  static constexpr Angle arcmin(double v) { return Angle(v * kRadPerDeg / 60.0); }
  static constexpr Angle arcsec(double v) { return Angle(v * kRadPerDeg / 3600.0); }

  [[nodiscard]] constexpr double rad() const { return rad_; }
  [[nodiscard]] constexpr double deg() const { return rad_ / kRadPerDeg; }
  [[nodiscard]] constexpr double hours() const { return rad_ / (15.0 * kRadPerDeg); }
  [[nodiscard]] constexpr double arcmin() const { return rad_ / kRadPerDeg * 60.0; }
  [[nodiscard]] constexpr double arcsec() const { return rad_ / kRadPerDeg * 3600.0; }

  /// The same direction in [0, 2π).
  [[nodiscard]] Angle wrapped_positive() const {
    const double turn = 2.0 * std::numbers::pi;
    double v = std::fmod(rad_, turn);
    if (v < 0.0) v += turn;
    return Angle(v >= turn ? 0.0 : v);
  }
  /// The same direction in [−π, π).
  [[nodiscard]] Angle wrapped_signed() const {
    const double half = std::numbers::pi;
    return Angle(Angle(rad_ + half).wrapped_positive().rad_ - half);
  }

  constexpr auto operator<=>(const Angle&) const = default;
  constexpr Angle operator-() const { return Angle(-rad_); }
  constexpr Angle operator+(Angle o) const { return Angle(rad_ + o.rad_); }
  constexpr Angle operator-(Angle o) const { return Angle(rad_ - o.rad_); }
  constexpr Angle operator*(double s) const { return Angle(rad_ * s); }
  constexpr Angle operator/(double s) const { return Angle(rad_ / s); }
  constexpr double operator/(Angle o) const { return rad_ / o.rad_; }

 private:
  static constexpr double kRadPerDeg = std::numbers::pi / 180.0;
  explicit constexpr Angle(double v) : rad_(v) {}
  double rad_ = 0.0;
};

[[nodiscard]] inline double sin(Angle a) {
  return std::sin(a.rad());
}
[[nodiscard]] inline double cos(Angle a) {
  return std::cos(a.rad());
}
[[nodiscard]] inline double tan(Angle a) {
  return std::tan(a.rad());
}
[[nodiscard]] inline Angle abs(Angle a) {
  return Angle::rad(std::abs(a.rad()));
}

}  // namespace polewright
