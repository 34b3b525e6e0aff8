// Peak memory of find_stars over a 24-megapixel frame, as a multiple of the frame. A program of its own: the peak of a
// process cannot be taken back.
#include <sys/resource.h>

#include <cmath>
#include <cstdio>
#include <random>

#include "polewright/stars.hpp"

namespace {

double peak_bytes() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return static_cast<double>(usage.ru_maxrss) * 1024.0;
}

/// Noise and Gaussian stars, or trails of 30 px, painted straight into the 16-bit frame.
polewright::Frame frame_of(bool trailed) {
  polewright::Frame f;
  f.width = 6000;
  f.height = 4000;
  f.black_level.fill(512.0);
  f.pixels.resize(24'000'000);
  std::mt19937_64 rng(1);
  for (auto& p : f.pixels) p = static_cast<std::uint16_t>(900 + __builtin_popcountll(rng()));
  std::uniform_real_distribution<double> at(40.0, 3960.0);
  for (int s = 0; s < 5000; ++s) {
    const double x0 = at(rng) * 1.5, y0 = at(rng), light = 300.0 / (0.02 + at(rng) / 3960.0);
    const int steps = trailed ? 40 : 1;
    for (int k = 0; k < steps; ++k) {
      const double x = x0 + (trailed ? 0.7 * k - 14.0 : 0.0), y = y0 + (trailed ? 0.2 * k - 4.0 : 0.0);
      for (int dy = -5; dy <= 5; ++dy)
        for (int dx = -5; dx <= 5; ++dx) {
          const int px = static_cast<int>(x) + dx, py = static_cast<int>(y) + dy;
          const double r2 = (px - x) * (px - x) + (py - y) * (py - y);
          auto& p = f.pixels[static_cast<std::size_t>(py) * 6000 + static_cast<std::size_t>(px)];
          p = static_cast<std::uint16_t>(std::min(60000.0, p + light * (trailed ? 0.3 : 1.0) * std::exp(-0.4 * r2)));
        }
    }
  }
  return f;
}

}  // namespace

int main(int argc, char**) {
  const polewright::Frame frame = frame_of(argc > 1);  // any argument: trails
  const double before = peak_bytes(), size = 2.0 * static_cast<double>(frame.pixels.size());
  const auto list = polewright::find_stars(frame);
  if (!list) return 1;
  std::printf(
      "stars %zu, trail %.1f px, frame %.0f MB, peak while finding: frame + %.2f frames (process %.2f frames)\n",
      list->stars.size(), list->trail_px, size * 1e-6, (peak_bytes() - before) / size, peak_bytes() / size);
  return 0;
}
