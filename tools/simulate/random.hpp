// Random numbers that are the same on every machine: the standard library's distributions are not.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>

namespace polewright::simulate {

/// One step of the splitmix64 mixer (Steele, Lea & Flood 2014): turns seeds and indices into unrelated seeds.
[[nodiscard]] constexpr std::uint64_t mix(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15ULL;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

/// xoshiro256+ (Blackman & Vigna 2018) with the few distributions a frame needs.
class Random {
 public:
  explicit Random(std::uint64_t seed) {
    for (auto& s : state_) s = seed = mix(seed);
  }
  /// An independent stream for item `index` of the work seeded with `seed`.
  Random(std::uint64_t seed, std::uint64_t index) : Random(mix(seed) ^ mix(index + 0x51ed2701ULL)) {}

  [[nodiscard]] std::uint64_t bits() {
    const std::uint64_t out = state_[0] + state_[3], t = state_[1] << 17;
    state_[2] ^= state_[0];
    state_[3] ^= state_[1];
    state_[1] ^= state_[2];
    state_[0] ^= state_[3];
    state_[2] ^= t;
    state_[3] = (state_[3] << 45) | (state_[3] >> 19);
    return out;
  }
  /// Uniform in (0, 1).
  [[nodiscard]] double uniform() { return (static_cast<double>(bits() >> 12) + 0.5) * 0x1p-52; }
  [[nodiscard]] double uniform(double low, double high) { return low + (high - low) * uniform(); }
  /// Standard normal deviate; Marsaglia & Tsang's ziggurat with 256 layers, tails included.
  [[nodiscard]] double normal();
  /// Poisson deviate: by inversion for small means, else the normal quantile with Cornish–Fisher's skewness term
  /// (mean exact, variance within 0.3 % at the switch).
  [[nodiscard]] double poisson(double mean);

 private:
  std::array<std::uint64_t, 4> state_{};
};

}  // namespace polewright::simulate
