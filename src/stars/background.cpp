#include "stars/background.hpp"

#include <algorithm>
#include <cmath>

#include "base/parallel.hpp"
#include "stars/row_kernels.hpp"

namespace polewright {

constexpr int kBins = 256;

/// A histogram of one tile and class over the range where sky can be; everything else falls into the end bins. Bins
/// are a power of two wide. Two sets of counters, so that equal neighbours do not wait for each other.
class TileHistogram {
 public:
  TileHistogram(int low, int shift) : low_(low), width_(1 << shift), shift_(shift) {}

  /// Every step-th sample of a row of a tile.
  void add(const std::uint16_t* row, int n, int step) {
    std::array<std::uint8_t, 2 * BackgroundMap::kTile> bins;
    bin_row(row, n, low_, shift_, bins.data());
    std::size_t i = 0;
    const auto s = static_cast<std::size_t>(step), end = static_cast<std::size_t>(n);
    for (; i + s < end; i += 2 * s) {
      ++count_[bins[i]];
      ++second_[bins[i + s]];
    }
    for (; i < end; i += s) ++count_[bins[i]];
  }
  /// Turns counts into running totals; quantiles may be asked for from now on.
  void close() {
    int total = 0;
    for (std::size_t i = 0; i < kBins; ++i) {
      total += count_[i] + second_[i];
      count_[i] = static_cast<std::uint16_t>(total);
    }
  }
  /// Value below which a fraction of the samples lies, counting only bins [0, top).
  [[nodiscard]] float quantile(double fraction, int top) const {
    const double need = fraction * count_[static_cast<std::size_t>(top - 1)];
    const auto at = std::lower_bound(count_.begin(), count_.begin() + top, need);
    if (at == count_.begin() + top) return static_cast<float>(low_ + width_ * top);
    const auto i = static_cast<std::size_t>(at - count_.begin());
    const double before = i > 0 ? count_[i - 1] : 0;
    return static_cast<float>(low_ - 0.5 + width_ * (static_cast<double>(i) + (need - before) / (*at - before)));
  }
  [[nodiscard]] int bin_above(float value) const {
    return std::clamp(static_cast<int>((value - static_cast<float>(low_)) / static_cast<float>(width_)) + 1, 1, kBins);
  }

 private:
  int low_, width_, shift_;
  std::array<std::uint16_t, kBins> count_{}, second_{};  // a tile has at most 96² samples
};

namespace {

struct LevelAndNoise {
  float level = 0.0F, noise = 1.0F;
};

constexpr float kRoundingNoise = 0.2887F;  // 1/√12: an integer sample cannot be quieter

/// Clipped from above at 3σ until it settles: stars only ever add light. The 15.87 % quantile is 1σ below the median.
LevelAndNoise sky_of(const TileHistogram& histogram) {
  int top = kBins;
  LevelAndNoise sky;
  for (int round = 0; round < 6; ++round) {
    sky.level = histogram.quantile(0.5, top);
    sky.noise = std::max(kRoundingNoise, sky.level - histogram.quantile(0.1587, top));
    const int next = histogram.bin_above(sky.level + 3.0F * sky.noise);
    if (next >= top) break;
    top = next;
  }
  return sky;
}

/// The sample with `rank` samples below it. Halving the range and counting takes no branches, as sorting does.
int sample_of_rank(const std::array<std::uint16_t, 128>& samples, int n, int rank) {
  int low = 0, high = 65535;
  while (low < high) {
    const int middle = (low + high) / 2;
    if (count_up_to(samples.data(), n, middle) > rank)
      high = middle;
    else
      low = middle + 1;
  }
  return low;
}

/// Where the histogram should lie, from a few dozen samples: quartiles are safe against stars and dead pixels.
TileHistogram histogram_around(const std::array<std::uint16_t, 128>& probe, int n) {
  const int median = sample_of_rank(probe, n, n / 2);
  const int spread = std::max(2, median - sample_of_rank(probe, n, n / 8));  // 1.15σ
  int shift = 0;
  while ((kBins << shift) < 12 * spread) ++shift;
  return {median - (kBins << shift) / 2, shift};
}

/// Median of the 3×3 neighbourhood on a grid; borders use what is there.
float median_around(const std::vector<float>& grid, std::size_t offset, int nx, int ny, int ix, int iy) {
  std::array<float, 9> near{};
  int n = 0;
  for (int y = std::max(0, iy - 1); y <= std::min(ny - 1, iy + 1); ++y)
    for (int x = std::max(0, ix - 1); x <= std::min(nx - 1, ix + 1); ++x)
      near[static_cast<std::size_t>(n++)] = grid[offset + static_cast<std::size_t>(y * nx + x)];
  std::nth_element(near.begin(), near.begin() + n / 2, near.begin() + n);
  return near[static_cast<std::size_t>(n / 2)];
}

double median_of(std::vector<float> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

BackgroundMap BackgroundMap::measure(const Frame& frame, int threads) {
  BackgroundMap map;
  map.classes_ = frame.mosaic.is_colour() ? 4 : 1;
  map.nx_ = std::max(1, (frame.width + kTile / 2) / kTile);
  map.ny_ = std::max(1, (frame.height + kTile / 2) / kTile);
  const auto cells = static_cast<std::size_t>(map.classes_) * static_cast<std::size_t>(map.nx_ * map.ny_);
  map.level_.resize(cells);
  map.noise_.resize(cells);
  parallel_for(static_cast<std::size_t>(map.ny_), threads,
               [&](std::size_t iy) { map.measure_band(frame, static_cast<int>(iy)); });
  map.smooth();
  for (const float noise : map.noise_) map.inverse_noise_.push_back(1.0F / noise);
  return map;
}

/// Samples spread over a tile, of one class.
TileHistogram BackgroundMap::probe(const Frame& frame, int c, int x0, int x1, int y0, int y1) const {
  constexpr int kProbe = 8;  // samples across and down
  const int step = classes_ == 1 ? 1 : 2;
  const int sx = std::max(step, (x1 - x0) / kProbe / step * step),
            sy = std::max(step, (y1 - y0) / kProbe / step * step);
  std::array<std::uint16_t, 128> samples{};
  int n = 0;
  for (int y = y0 + (c >> 1); y < y1; y += sy)
    for (int x = x0 + (c & 1); x < x1 && n < 128; x += sx) samples[static_cast<std::size_t>(n++)] = frame.at(x, y);
  return histogram_around(samples, n);
}

// All tiles of a band at once, row by row as the pixels lie in memory. The last tile of a row or column takes what is
// left over, up to one and a half tiles.
void BackgroundMap::measure_band(const Frame& frame, int iy) {
  const int y0 = iy * kTile, y1 = iy == ny_ - 1 ? frame.height : y0 + kTile;
  const int step = classes_ == 1 ? 1 : 2;
  const auto end_of = [&](int ix) { return ix == nx_ - 1 ? frame.width : (ix + 1) * kTile; };
  std::vector<TileHistogram> histograms;
  for (int c = 0; c < classes_; ++c)
    for (int ix = 0; ix < nx_; ++ix) histograms.push_back(probe(frame, c, ix * kTile, end_of(ix), y0, y1));
  for (int y = y0; y < y1; ++y) {
    // Half of the rows, 512 or 2048 samples a class, is enough and half the way through memory. Rows 0, 3, 4, 7… (pairs
    // of rows of a mosaic), so that sensors whose odd and even rows differ are sampled evenly.
    const int r = classes_ == 1 ? y : y >> 1;
    if (((r >> 1) ^ r) & 1) continue;
    const std::uint16_t* row = &frame.pixels[static_cast<std::size_t>(y) * static_cast<std::size_t>(frame.width)];
    for (int first = 0; first < step; ++first)
      for (int ix = 0; ix < nx_; ++ix) {
        const int x = ix * kTile + first;
        histograms[static_cast<std::size_t>(class_of(first, y) * nx_ + ix)].add(row + x, end_of(ix) - x, step);
      }
  }
  for (int c = 0; c < classes_; ++c)
    for (int ix = 0; ix < nx_; ++ix) {
      TileHistogram& histogram = histograms[static_cast<std::size_t>(c * nx_ + ix)];
      histogram.close();
      const LevelAndNoise sky = sky_of(histogram);
      level_[index(c, ix, iy)] = sky.level;
      noise_[index(c, ix, iy)] = sky.noise;
    }
}

// A tile filled by a bright star or a lamp shows it by its noise and takes its neighbours' median. The others keep
// their own value: a median everywhere would cut the tops off clouds and domes.
void BackgroundMap::smooth() {
  constexpr float kTooNoisy = 1.2F;  // 2048 or 512 samples know their noise to 3 or 6 %
  const std::vector<float> level = level_, noise = noise_;
  for (int c = 0; c < classes_; ++c)
    for (int iy = 0; iy < ny_; ++iy)
      for (int ix = 0; ix < nx_; ++ix) {
        const std::size_t k = index(c, ix, iy);
        const float usual = median_around(noise, index(c, 0, 0), nx_, ny_, ix, iy);
        noise_[k] = usual;
        if (noise[k] > kTooNoisy * usual) level_[k] = median_around(level, index(c, 0, 0), nx_, ny_, ix, iy);
      }
}

/// Two neighbouring tile centres and a place between them; constant beyond the outer centres.
struct BackgroundMap::Between {
  int i, j;
  float part;
};

BackgroundMap::Between BackgroundMap::between(int at, int tiles) const {
  const float f =
      std::clamp(static_cast<float>(at - tile_ / 2) / static_cast<float>(tile_), 0.0F, static_cast<float>(tiles - 1));
  const int i = std::min(static_cast<int>(f), std::max(0, tiles - 2));
  return {i, std::min(i + 1, tiles - 1), f - static_cast<float>(i)};
}

float BackgroundMap::sample(const std::vector<float>& grid, int c, int x, int y) const {
  const Between u = between(x, nx_), v = between(y, ny_);
  const float top = grid[index(c, u.i, v.i)] * (1 - u.part) + grid[index(c, u.j, v.i)] * u.part;
  const float low = grid[index(c, u.i, v.j)] * (1 - u.part) + grid[index(c, u.j, v.j)] * u.part;
  return top * (1 - v.part) + low * v.part;
}

float BackgroundMap::level(int x, int y) const {
  return sample(level_, class_of(x, y), x, y);
}
float BackgroundMap::noise(int x, int y) const {
  return sample(noise_, class_of(x, y), x, y);
}

// Between two tile centres everything is a straight line, per colour.
void BackgroundMap::fill(RowSky& sky, int y, int x0, int x1) const {
  const Between v = between(y, ny_);
  const auto n = static_cast<std::size_t>(x1 - x0);
  for (auto* part : {&sky.level, &sky.level_step, &sky.inverse_noise, &sky.inverse_noise_step}) part->resize(n);
  for (int x = x0; x < x1;) {
    const int past = (x + tile_ / 2) / tile_ * tile_ + tile_ / 2;  // the next tile centre to the right
    const int end = std::min(x1, past);
    const Between u = between(x, nx_), last = between(end - 1, nx_);
    const float slope = end - 1 > x ? (last.part - u.part) / static_cast<float>(end - 1 - x) : 0.0F;
    for (int first = x; first < std::min(x + 2, end); ++first) {
      const int c = class_of(first, y);
      const auto line = [&](const std::vector<float>& grid, std::vector<float>& at_upper, std::vector<float>& step) {
        const float left = grid[index(c, u.i, v.i)], right = grid[index(c, u.j, v.i)];
        const float left_step = grid[index(c, u.i, v.j)] - left, right_step = grid[index(c, u.j, v.j)] - right;
        for (int i = first; i < end; i += 2) {
          const float part = u.part + slope * static_cast<float>(i - x);
          at_upper[static_cast<std::size_t>(i - x0)] = left + part * (right - left);
          step[static_cast<std::size_t>(i - x0)] = left_step + part * (right_step - left_step);
        }
      };
      line(level_, sky.level, sky.level_step);
      line(inverse_noise_, sky.inverse_noise, sky.inverse_noise_step);
    }
    x = end;
  }
  sky.x0 = x0;
  sky.upper = v.i;
}

void BackgroundMap::normalise(const std::uint16_t* pixels, int y, int x0, int x1, RowSkies& skies, float* z) const {
  RowSky& sky = skies[classes_ == 1 ? 0 : static_cast<std::size_t>(y & 1)];
  const Between v = between(y, ny_);
  if (sky.upper != v.i || sky.x0 != x0 || sky.level.size() != static_cast<std::size_t>(x1 - x0)) fill(sky, y, x0, x1);
  normalise_row(pixels, x1 - x0, v.part, sky.level.data(), sky.level_step.data(), sky.inverse_noise.data(),
                sky.inverse_noise_step.data(), z);
}

BackgroundMap BackgroundMap::of_quads(int shift) const {
  BackgroundMap map;
  map.nx_ = nx_;
  map.ny_ = ny_;
  map.tile_ = tile_ / 2;
  const float unit = 1.0F / static_cast<float>(1 << shift);
  for (int iy = 0; iy < ny_; ++iy)
    for (int ix = 0; ix < nx_; ++ix) {
      float level = 0.0F, variance = 0.0F;
      for (int k = 0; k < 4; ++k) {
        const std::size_t at = index(classes_ == 1 ? 0 : k, ix, iy);
        level += level_[at];
        variance += noise_[at] * noise_[at];
      }
      map.level_.push_back(unit * level);
      map.noise_.push_back(unit * std::sqrt(variance));
      map.inverse_noise_.push_back(1.0F / map.noise_.back());
    }
  return map;
}

double BackgroundMap::median_level() const {
  return median_of(level_);
}
double BackgroundMap::median_noise() const {
  return median_of(noise_);
}

}  // namespace polewright
