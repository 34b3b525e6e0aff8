// The landscape: a skyline fixed to the ground that hides sky and stars.
#pragma once

#include <vector>

#include "polewright/geometry.hpp"
#include "simulate/detector.hpp"

namespace polewright::simulate {

class Skyline {
 public:
  explicit Skyline(const Foreground& foreground);
  /// Altitude of the skyline, rad, at an azimuth in radians.
  [[nodiscard]] double altitude_rad(double azimuth_rad) const;
  [[nodiscard]] double highest_rad() const { return highest_rad_; }
  [[nodiscard]] double lowest_rad() const { return lowest_rad_; }
  [[nodiscard]] bool hides(Vec<Enu> direction) const;
  /// Uneven brightness of the ground, 0.4 to 1.
  [[nodiscard]] double ground_shade(double azimuth_rad, double altitude_rad) const;

 private:
  std::vector<float> ridge_rad_;
  double highest_rad_ = 0.0, lowest_rad_ = 0.0;
  std::uint64_t seed_;
};

/// A lamp or window as point sources over the ground, electrons per second each.
struct GroundLight {
  Vec<Enu> direction;
  double e_per_s = 0.0;
};
[[nodiscard]] std::vector<GroundLight> ground_lights(const Foreground& foreground, Angle pixel);

/// Smooth random field of mean 0.5 and range 0…1; unit correlation length.
[[nodiscard]] double value_noise(double x, double y, std::uint64_t seed);
/// Sum of octaves of value_noise, range 0…1.
[[nodiscard]] double fractal_noise(double x, double y, int octaves, std::uint64_t seed);

}  // namespace polewright::simulate
