// The frames the benchmarks run on: a sloping sky, noise, and stars of all brightnesses; rendered once per size.
#pragma once

#include <vector>

#include "truth/stars/render.hpp"

namespace polewright::test {

struct BenchScene {
  Frame frame;
  std::vector<RenderedStar> stars;  ///< brightest first
};

/// Star counts rise by a factor 2.5 per magnitude, as the sky's do; σ 1.2 px. Kept for the run of the program.
const BenchScene& bench_scene(int width, int height, int stars, bool mosaic = false);

}  // namespace polewright::test
