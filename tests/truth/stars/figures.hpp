// The experiments behind the tables: many stars of one kind, found and compared with truth and bound.
#pragma once

#include <catch2/catch.hpp>
#include <cmath>

#include "truth/stars/image_bound.hpp"
#include "truth/stars/statistics.hpp"

namespace polewright::test {

struct StarKind {
  double sigma_px = 1.0, electrons = 1000.0;
  std::array<double, 3> colour{1.0, 1.0, 1.0};
  double moffat_beta = 0.0;  ///< 0: Gaussian
};

struct Figures {
  double ratio = 0.0;    ///< rms error per axis over the bound
  double bias_px = 0.0;  ///< larger of the mean errors in x and y
  double pull = 0.0;     ///< rms of error over claimed error
  double found = 0.0;    ///< share of stars found
};

inline RenderOptions usual_camera(const Mosaic& mosaic, unsigned seed) {
  RenderOptions o;
  o.width = o.height = 704;
  o.sky_electrons = 91.0;
  o.read_noise_electrons = 3.0;
  o.adu_per_electron = 2.0;
  o.mosaic = mosaic;
  o.seed = seed;
  return o;
}

inline Figures centroid_figures(const StarKind& kind, const Mosaic& mosaic, unsigned seed) {
  const RenderOptions o = usual_camera(mosaic, seed);
  RenderedStar like{.sigma_px = kind.sigma_px, .electrons = kind.electrons};
  like.colour = kind.colour;
  if (kind.moffat_beta > 0.0) like.parts = moffat_parts(kind.moffat_beta);
  const auto truth = star_grid(o, 32, like, seed + 100);
  const auto list = find_stars(render(truth, o));
  REQUIRE(list);
  BoundOptions b;
  b.background_noise = std::sqrt(o.sky_electrons + 9.0);
  std::vector<double> ex, ey, over_bound, pulls;
  for (const Matched& m : match(truth, *list, 1.5)) {
    const auto bound = image_bound(*m.truth, b, mosaic);
    ex.push_back(m.found->position.x - m.truth->x);
    ey.push_back(m.found->position.y - m.truth->y);
    over_bound.push_back(ex.back() / std::sqrt(bound(0, 0)));
    over_bound.push_back(ey.back() / std::sqrt(bound(1, 1)));
    pulls.push_back(ex.back() / std::sqrt(m.found->position_cov.xx));
    pulls.push_back(ey.back() / std::sqrt(m.found->position_cov.yy));
  }
  Figures f;
  f.ratio = spread_of(over_bound).rms;
  f.bias_px = std::max(std::abs(spread_of(ex).mean), std::abs(spread_of(ey).mean));
  f.pull = spread_of(pulls).rms;
  f.found = static_cast<double>(ex.size()) / static_cast<double>(truth.size());
  return f;
}

/// Mean error by sub-pixel phase (four cells each way for mono, the 2×2 pattern's four cells for mosaics): the largest.
inline double largest_phase_bias(const StarKind& kind, const Mosaic& mosaic, unsigned seed) {
  const RenderOptions o = usual_camera(mosaic, seed);
  RenderedStar like{.sigma_px = kind.sigma_px, .electrons = kind.electrons};
  like.colour = kind.colour;
  auto truth = star_grid(o, 33, like, seed + 100);  // odd pitch: stars fall on all positions of the pattern
  const auto list = find_stars(render(truth, o));
  REQUIRE(list);
  const double period = mosaic.is_colour() ? 2.0 : 1.0;
  constexpr int kCells = 4;
  std::array<std::vector<double>, 4 * kCells> errors;
  for (const Matched& m : match(truth, *list, 1.5))
    for (const bool along_x : {true, false}) {
      const double at = along_x ? m.truth->x : m.truth->y;
      const double phase = at / period - std::floor(at / period);
      const double other = along_x ? m.truth->y : m.truth->x;
      const int row = mosaic.is_colour() ? static_cast<int>(std::lround(other)) & 1 : 0;
      const auto cell = static_cast<std::size_t>((along_x ? 0 : 2 * kCells) + row * kCells) +
                        static_cast<std::size_t>(phase * kCells);
      errors[cell].push_back(along_x ? m.found->position.x - m.truth->x : m.found->position.y - m.truth->y);
    }
  double largest = 0.0;
  for (const auto& e : errors)
    if (!e.empty()) largest = std::max(largest, std::abs(spread_of(e).mean));
  return largest;
}

}  // namespace polewright::test
