#include "stars/detect.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "base/parallel.hpp"
#include "stars/row_kernels.hpp"

namespace polewright {
namespace {

constexpr int kTileWidth = 512, kTileHeight = 256;  // the rows in work stay within a core's first cache level
constexpr int kMaxRadius = 24;                      // px; wider kernels gain nothing on star images

/// One side of the symmetric kernel, energy of the full kernel 1, so that white noise stays at unit variance. For a
/// mosaic the Gaussian is averaged over neighbouring pixels, (1, 2, 1)/4, which takes out the pattern that a star of
/// one colour shows and that would make several maxima of it.
std::vector<float> kernel_taps(double sigma_px, bool mosaic) {
  const int radius = std::clamp(static_cast<int>(std::ceil(2.6 * sigma_px)) + (mosaic ? 1 : 0), 1, kMaxRadius);
  const auto gauss = [&](int k) { return std::exp(-0.5 * k * k / (sigma_px * sigma_px)); };
  std::vector<float> taps;
  double energy = 0.0;
  for (int k = 0; k <= radius; ++k) {
    const double g = mosaic ? 0.5 * gauss(k) + 0.25 * (gauss(k - 1) + gauss(k + 1)) : gauss(k);
    taps.push_back(static_cast<float>(g));
    energy += (k == 0 ? 1.0 : 2.0) * g * g;
  }
  for (float& t : taps) t = static_cast<float>(static_cast<double>(t) / std::sqrt(energy));
  return taps;
}

/// The samples that are filtered, and their sky.
class Samples {
 public:
  Samples(const Frame& frame, const BackgroundMap& background, Grain grain)
      : frame_(frame), background_(background), grain_(grain) {
    if (grain == Grain::pixel) return;
    // Sums of ordinary raw samples, of 14 bits, need no division and lose nothing.
    shift_ = frame.white_level > 32767.0 ? 2 : frame.white_level > 16383.0 ? 1 : 0;
    quad_sky_ = background.of_quads(shift_);
  }
  [[nodiscard]] int width() const { return grain_ == Grain::pixel ? frame_.width : frame_.width / 2; }
  [[nodiscard]] int height() const { return grain_ == Grain::pixel ? frame_.height : frame_.height / 2; }

  /// Columns [x0, x1) of row y in units of the noise. `sums` and `sky` are the caller's room.
  void normalise(int y, int x0, int x1, std::vector<std::uint16_t>& sums, BackgroundMap::RowSkies& sky,
                 float* z) const {
    if (grain_ == Grain::pixel) return background_.normalise(pixel(x0, y), y, x0, x1, sky, z);
    sums.resize(static_cast<std::size_t>(x1 - x0));
    sum_quads(pixel(2 * x0, 2 * y), pixel(2 * x0, 2 * y + 1), x1 - x0, shift_, sums.data());
    quad_sky_.normalise(sums.data(), y, x0, x1, sky, z);
  }

 private:
  [[nodiscard]] const std::uint16_t* pixel(int x, int y) const {
    return frame_.pixels.data() + static_cast<std::ptrdiff_t>(y) * frame_.width + x;
  }
  const Frame& frame_;
  const BackgroundMap& background_;
  Grain grain_;
  int shift_ = 0;
  BackgroundMap quad_sky_;
};

/// Rows of one tile on their way through the filter: a ring of horizontally filtered rows and one of three results.
class TileFilter {
 public:
  TileFilter(const Samples& samples, const std::vector<float>& taps)
      : samples_(samples), taps_(taps), radius_(static_cast<int>(taps.size()) - 1) {}

  /// Calls use(y) when significance(y − 1), (y) and (y + 1) are ready, for every row of the tile.
  template <class Use>
  void run(int x0, int y0, Use use) {
    x0_ = x0;
    width_ = std::min(kTileWidth, samples_.width() - x0);
    const int y1 = std::min(y0 + kTileHeight, samples_.height());
    pitch_ = width_ + 2;
    z_.assign(static_cast<std::size_t>(pitch_ + 2 * radius_), 0.0F);
    ring_.assign(static_cast<std::size_t>((2 * radius_ + 1) * pitch_), 0.0F);
    significance_.assign(static_cast<std::size_t>(3 * pitch_), 0.0F);
    for (int y = y0 - 1 - radius_; y < y0 - 1 + radius_; ++y) filter_horizontally(y);
    for (int y = y0 - 1; y <= y1; ++y) {
      filter_horizontally(y + radius_);
      filter_vertically(y);
      if (y > y0) use(y - 1);
    }
  }

  /// Row y of the result, from the tile's first column on; one valid sample on both sides.
  const float* significance(int y) { return slot(significance_, 3, y) + 1; }
  [[nodiscard]] int width() const { return width_; }

 private:
  float* slot(std::vector<float>& ring, int rows, int y) {
    return &ring[static_cast<std::size_t>((y % rows + rows) % rows * pitch_)];
  }
  /// Rows outside the frame count as empty sky, and so do columns.
  void filter_horizontally(int y) {
    float* out = slot(ring_, 2 * radius_ + 1, y);
    if (y < 0 || y >= samples_.height()) {
      std::fill(out, out + pitch_, 0.0F);
      return;
    }
    const int first = x0_ - 1 - radius_;
    const int to = std::min(samples_.width(), x0_ + width_ + 1 + radius_);
    const int start = std::max(0, first);
    samples_.normalise(y, start, to, sums_, sky_, &z_[static_cast<std::size_t>(start - first)]);
    convolve_row(&z_[static_cast<std::size_t>(radius_)], taps_.data(), radius_, pitch_, out);
  }
  void filter_vertically(int y) {
    rows_.clear();
    for (int k = -radius_; k <= radius_; ++k) rows_.push_back(slot(ring_, 2 * radius_ + 1, y + k));
    convolve_column(rows_.data(), taps_.data(), radius_, pitch_, slot(significance_, 3, y));
  }
  const Samples& samples_;
  const std::vector<float>& taps_;
  int radius_, x0_ = 0, width_ = 0, pitch_ = 0;
  std::vector<float> z_, ring_, significance_;
  std::vector<const float*> rows_;
  std::vector<std::uint16_t> sums_;
  BackgroundMap::RowSkies sky_;
};

/// Width of a star image in quads: it grows by what the larger samples blur.
double in_quads(double sigma_px) {
  return 0.5 * std::sqrt(sigma_px * sigma_px + 3.0 / 12.0);
}

/// Where between its neighbours a maximum lies, from −½ to ½.
double summit(float before, float at, float after) {
  const double curve = static_cast<double>(before - 2.0F * at + after);
  return curve < 0.0 ? std::clamp(0.5 * static_cast<double>(before - after) / curve, -0.5, 0.5) : 0.0;
}

/// The pixel at a place among quads; the middle of quad i lies at 2i + ½.
int pixel_at(double quad, int pixels) {
  return std::clamp(static_cast<int>(std::lround(2.0 * quad + 0.5)), 0, pixels - 1);
}

}  // namespace

std::vector<Candidate> detect(const Frame& frame, const BackgroundMap& background, double sigma_px, double threshold,
                              Grain grain, int threads) {
  const bool quads = grain == Grain::quad;
  const Samples samples(frame, background, grain);
  const std::vector<float> taps =
      quads ? kernel_taps(in_quads(sigma_px), false) : kernel_taps(sigma_px, frame.mosaic.is_colour());
  const int columns = (samples.width() + kTileWidth - 1) / kTileWidth;
  const int bands = (samples.height() + kTileHeight - 1) / kTileHeight;
  std::vector<std::vector<Candidate>> found(static_cast<std::size_t>(columns * bands));
  parallel_for(found.size(), threads, [&](std::size_t i) {
    const int x0 = static_cast<int>(i) % columns * kTileWidth, y0 = static_cast<int>(i) / columns * kTileHeight;
    TileFilter filter(samples, taps);
    std::array<int, kTileWidth> at{};
    filter.run(x0, y0, [&](int y) {
      const float *above = filter.significance(y - 1), *row = filter.significance(y),
                  *below = filter.significance(y + 1);
      const int n = local_maxima(above, row, below, static_cast<float>(threshold), filter.width(), at.data());
      for (std::size_t k = 0; k < static_cast<std::size_t>(n); ++k) {
        const int x = at[k];
        Candidate c{x0 + x, y, row[x]};
        if (quads) {
          c.x = pixel_at(x0 + x + summit(row[x - 1], row[x], row[x + 1]), frame.width);
          c.y = pixel_at(y + summit(above[x], row[x], below[x]), frame.height);
        }
        found[i].push_back(c);
      }
    });
  });
  std::vector<Candidate> all;
  for (const auto& part : found) all.insert(all.end(), part.begin(), part.end());
  // Ties are broken by place so that the list does not depend on the number of threads.
  std::sort(all.begin(), all.end(), [](const Candidate& a, const Candidate& b) {
    if (a.significance != b.significance) return a.significance > b.significance;
    return a.y != b.y ? a.y < b.y : a.x < b.x;
  });
  return all;
}

SignificanceMap significance_map(const Frame& frame, const BackgroundMap& background, double sigma_px, int threads) {
  const std::vector<float> taps = kernel_taps(sigma_px, frame.mosaic.is_colour());
  const Samples samples(frame, background, Grain::pixel);
  SignificanceMap map;
  map.width = frame.width;
  map.height = frame.height;
  map.steps.resize(frame.pixels.size());
  const int columns = (frame.width + kTileWidth - 1) / kTileWidth;
  const int bands = (frame.height + kTileHeight - 1) / kTileHeight;
  parallel_for(static_cast<std::size_t>(columns * bands), threads, [&](std::size_t i) {
    const int x0 = static_cast<int>(i) % columns * kTileWidth, y0 = static_cast<int>(i) / columns * kTileHeight;
    TileFilter filter(samples, taps);
    filter.run(x0, y0, [&](int y) {
      std::int16_t* out = &map.steps[static_cast<std::size_t>(y) * static_cast<std::size_t>(map.width)] + x0;
      quantise_row(filter.significance(y), 1.0F / SignificanceMap::kStep, filter.width(), out);
    });
  });
  return map;
}

}  // namespace polewright
