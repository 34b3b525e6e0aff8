#include "simulate/random.hpp"

namespace polewright::simulate {
namespace {

/// Layers of equal area under exp(−x²/2): R and V for 256 layers are Marsaglia & Tsang's (J. Stat. Software 5, 2000).
struct Ziggurat {
  static constexpr double kR = 3.6541528853610088, kV = 0.00492867323399;
  std::array<double, 257> x{}, f{};
  Ziggurat() {
    x[0] = kV / std::exp(-0.5 * kR * kR);
    x[1] = kR;
    for (std::size_t i = 2; i < 256; ++i)
      x[i] = std::sqrt(-2.0 * std::log(kV / x[i - 1] + std::exp(-0.5 * x[i - 1] * x[i - 1])));
    x[256] = 0.0;
    for (std::size_t i = 0; i < 257; ++i) f[i] = std::exp(-0.5 * x[i] * x[i]);
  }
};
const Ziggurat kZiggurat;

}  // namespace

double Random::normal() {
  while (true) {
    const std::uint64_t b = bits();
    const std::size_t layer = (b >> 3) & 255;
    const double sign = (b & 4) != 0 ? 1.0 : -1.0;
    const double u = static_cast<double>(b >> 12) * 0x1p-52;
    const double v = u * kZiggurat.x[layer];
    if (v < kZiggurat.x[layer + 1]) return sign * v;
    if (layer == 0) {
      double x = 0.0, y = 0.0;
      do {
        x = -std::log(uniform()) / Ziggurat::kR;
        y = -std::log(uniform());
      } while (y + y < x * x);
      return sign * (Ziggurat::kR + x);
    }
    const double f0 = kZiggurat.f[layer], f1 = kZiggurat.f[layer + 1];
    if (f0 + uniform() * (f1 - f0) < std::exp(-0.5 * v * v)) return sign * v;
  }
}

double Random::poisson(double mean) {
  if (mean <= 0.0) return 0.0;
  if (mean < 10.0) {
    const double floor = std::exp(-mean);
    double product = uniform();
    int n = 0;
    while (product > floor) {
      product *= uniform();
      ++n;
    }
    return n;
  }
  const double z = normal();
  return std::max(0.0, std::floor(mean + std::sqrt(mean) * z + (z * z - 1.0) / 6.0 + 0.5));
}

}  // namespace polewright::simulate
