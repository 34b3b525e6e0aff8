#include "simulate/foreground.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "simulate/random.hpp"

namespace polewright::simulate {
namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;
constexpr std::size_t kRidgeSamples = 36000;  // 0.01°, finer than a pixel of any lens that shows a landscape

double lattice(std::int64_t i, std::int64_t j, std::uint64_t seed) {
  const std::uint64_t h = mix(mix(seed ^ static_cast<std::uint64_t>(i)) ^ static_cast<std::uint64_t>(j));
  return static_cast<double>(h >> 11) * 0x1p-53;
}

/// Trees stand on the ridge as narrow spires of uneven height.
void plant(std::vector<float>& ridge, double share, std::uint64_t seed) {
  Random random(seed, 1);
  const double step = kTurn / static_cast<double>(ridge.size());
  for (double a = 0.0; a < kTurn; a += 0.0035 * (0.4 + random.uniform()) / std::max(share, 0.05)) {
    const double height = 0.012 * (0.4 + random.uniform() * random.uniform() * 1.8), half = height * 0.22;
    const double foot = ridge[static_cast<std::size_t>(a / step) % ridge.size()];
    for (double d = -half; d <= half; d += step) {
      const std::size_t i = static_cast<std::size_t>((a + d + kTurn) / step) % ridge.size();
      const double u = 1.0 - std::abs(d) / half;
      const double branches = 0.12 * lattice(static_cast<std::int64_t>(i), 3, seed);
      ridge[i] = std::max(ridge[i], static_cast<float>(foot + height * std::max(0.0, std::pow(u, 0.8) - branches)));
    }
  }
}

}  // namespace

double value_noise(double x, double y, std::uint64_t seed) {
  const double fx = std::floor(x), fy = std::floor(y);
  const auto i = static_cast<std::int64_t>(fx), j = static_cast<std::int64_t>(fy);
  const auto ease = [](double t) { return t * t * (3.0 - 2.0 * t); };
  const double u = ease(x - fx), v = ease(y - fy);
  const double low = std::lerp(lattice(i, j, seed), lattice(i + 1, j, seed), u);
  const double high = std::lerp(lattice(i, j + 1, seed), lattice(i + 1, j + 1, seed), u);
  return std::lerp(low, high, v);
}

double fractal_noise(double x, double y, int octaves, std::uint64_t seed) {
  double sum = 0.0, weight = 1.0, total = 0.0;
  for (int i = 0; i < octaves; ++i) {
    sum += weight * value_noise(x, y, seed + static_cast<std::uint64_t>(i));
    total += weight;
    weight *= 0.5;
    // Each octave is turned by 37°, so that the lattice does not show.
    const double turned = 2.03 * (0.7986 * x - 0.6018 * y) + 17.3;
    y = 2.03 * (0.6018 * x + 0.7986 * y) + 5.9;
    x = turned;
  }
  return sum / total;
}

Skyline::Skyline(const Foreground& foreground) : ridge_rad_(kRidgeSamples), seed_(foreground.seed) {
  for (std::size_t i = 0; i < kRidgeSamples; ++i) {
    const double a = kTurn * static_cast<double>(i) / kRidgeSamples;
    // Noise read along a circle closes on itself; folded at its middle it has crests instead of domes.
    const double n = fractal_noise(8.0 * std::cos(a), 8.0 * std::sin(a) + 40.0, 8, foreground.seed);
    const double relief = 0.35 - std::abs(2.0 * n - 1.0) * 1.6;
    ridge_rad_[i] = static_cast<float>(foreground.base_altitude.rad() + foreground.relief.rad() * relief);
  }
  if (foreground.trees > 0.0) plant(ridge_rad_, foreground.trees, foreground.seed);
  const auto [low, high] = std::minmax_element(ridge_rad_.begin(), ridge_rad_.end());
  lowest_rad_ = *low;
  highest_rad_ = *high;
}

double Skyline::altitude_rad(double azimuth_rad) const {
  double turns = azimuth_rad / kTurn;
  turns -= std::floor(turns);
  return ridge_rad_[static_cast<std::size_t>(turns * kRidgeSamples) % kRidgeSamples];
}

bool Skyline::hides(Vec<Enu> d) const {
  const double altitude = std::atan2(d.z, std::hypot(d.x, d.y));
  return altitude < highest_rad_ && altitude < altitude_rad(std::atan2(d.x, d.y));
}

double Skyline::ground_shade(double azimuth_rad, double altitude_rad) const {
  return 0.4 + 0.6 * fractal_noise(60.0 * azimuth_rad, 140.0 * altitude_rad, 3, seed_ + 100);
}

std::vector<GroundLight> ground_lights(const Foreground& foreground, Angle pixel) {
  std::vector<GroundLight> lights;
  for (const Lamp& lamp : foreground.lamps) {
    const int nx = 1 + static_cast<int>(lamp.width / pixel), ny = 1 + static_cast<int>(lamp.height / pixel);
    for (int i = 0; i < nx; ++i) {
      for (int j = 0; j < ny; ++j) {
        const Angle azimuth = lamp.azimuth + lamp.width * ((i + 0.5) / nx - 0.5);
        const Angle altitude = lamp.altitude + lamp.height * ((j + 0.5) / ny - 0.5);
        lights.push_back({enu_from_horizontal(azimuth, altitude), lamp.e_per_s / (nx * ny)});
      }
    }
  }
  return lights;
}

}  // namespace polewright::simulate
