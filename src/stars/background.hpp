// Sky level and noise over a frame, per position of the 2×2 colour pattern, from histograms of tiles.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "polewright/frame.hpp"

namespace polewright {

class TileHistogram;

/// Level and noise at tile centres; between them both are bilinear. One class for mono frames, four for mosaics
/// (index 2·(y mod 2) + (x mod 2)), because black level, gain and sky differ from colour to colour.
class BackgroundMap {
 public:
  static constexpr int kTile = 64;  ///< px; small enough to follow silhouettes and domes

  /// Robust to stars: level is the clipped median, noise comes from the lower half of the histogram.
  static BackgroundMap measure(const Frame& frame, int threads);

  [[nodiscard]] int tiles_x() const { return nx_; }
  [[nodiscard]] int tiles_y() const { return ny_; }
  [[nodiscard]] int classes() const { return classes_; }
  [[nodiscard]] int class_of(int x, int y) const { return classes_ == 1 ? 0 : 2 * (y & 1) + (x & 1); }
  [[nodiscard]] float tile_level(int c, int ix, int iy) const { return level_[index(c, ix, iy)]; }
  [[nodiscard]] float tile_noise(int c, int ix, int iy) const { return noise_[index(c, ix, iy)]; }

  /// Level and inverse noise of a stretch of columns between two rows of tile centres: at the upper row, and the step
  /// to the lower one. Rows of a mosaic alternate between two classes' worth of them.
  struct RowSky {
    std::vector<float> level, level_step, inverse_noise, inverse_noise_step;
    int x0 = 0, upper = -1;
  };
  using RowSkies = std::array<RowSky, 2>;
  /// z = (pixel − level)/noise of row y for columns [x0, x1) of the frame it was measured on; `pixels` is the one at
  /// x0. `sky` keeps the map's share in it from row to row.
  void normalise(const std::uint16_t* pixels, int y, int x0, int x1, RowSkies& sky, float* z) const;
  /// The same sky for the sums of 2×2 pixels divided by 2^shift: one class, half the width and height.
  [[nodiscard]] BackgroundMap of_quads(int shift) const;
  [[nodiscard]] float level(int x, int y) const;
  [[nodiscard]] float noise(int x, int y) const;
  /// Medians over tiles and classes.
  [[nodiscard]] double median_level() const;
  [[nodiscard]] double median_noise() const;

 private:
  [[nodiscard]] std::size_t index(int c, int ix, int iy) const {
    return (static_cast<std::size_t>(c) * static_cast<std::size_t>(ny_) + static_cast<std::size_t>(iy)) *
               static_cast<std::size_t>(nx_) +
           static_cast<std::size_t>(ix);
  }
  struct Between;
  [[nodiscard]] Between between(int at, int tiles) const;
  [[nodiscard]] float sample(const std::vector<float>& grid, int c, int x, int y) const;
  [[nodiscard]] TileHistogram probe(const Frame& frame, int c, int x0, int x1, int y0, int y1) const;
  void fill(RowSky& sky, int y, int x0, int x1) const;
  void measure_band(const Frame& frame, int iy);
  void smooth();

  int nx_ = 0, ny_ = 0, classes_ = 1, tile_ = kTile;
  std::vector<float> level_, noise_, inverse_noise_;
};

}  // namespace polewright
