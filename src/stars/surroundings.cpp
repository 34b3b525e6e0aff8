#include "stars/surroundings.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace polewright {
namespace {

constexpr double kInnerPerSigma = 4.0;  // a Gaussian star has 3e-4 of its peak there
constexpr double kWidth_px = 6.0;
constexpr float kClip = 2.0F;            // of the noise about the median: stars in the ring stay outside
constexpr float kStar = 8.0F;            // of the noise: a pixel that bright makes its sector one with a star
constexpr double kClippedMean = 1.15;    // its error over that of a plain mean of normal noise; simulated
constexpr double kLowerHalfMean = 1.18;  // the same for the lower half's

struct SectorLevel {
  float level = 0.0F;       ///< mean of what lies near the median; rounded samples do not make it coarse
  float lower_half = 0.0F;  ///< mean of the half below the median, which a star in the sector hardly lifts
  float highest = 0.0F;
};

/// Median to a twentieth of the noise by halving the range: counting takes no branches, as sorting does.
float median_of(const float* v, int n, float noise) {
  float low = v[0], high = v[0];
#pragma omp simd reduction(min : low) reduction(max : high)
  for (int i = 0; i < n; ++i) {
    low = std::min(low, v[i]);
    high = std::max(high, v[i]);
  }
  while (high - low > 0.05F * noise) {
    const float middle = 0.5F * (low + high);
    if (middle <= low || middle >= high) break;
    int below = 0;
#pragma omp simd reduction(+ : below)
    for (int i = 0; i < n; ++i) below += v[i] < middle ? 1 : 0;
    (2 * below < n ? low : high) = middle;
  }
  return 0.5F * (low + high);
}

SectorLevel level_of(const float* v, int n, float noise) {
  const float median = median_of(v, n, noise), low = median - kClip * noise, high = median + kClip * noise;
  float lower_sum = 0.0F, lower_count = 0.0F, near_sum = 0.0F, near_count = 0.0F, highest = median;
#pragma omp simd reduction(+ : lower_sum, lower_count, near_sum, near_count) reduction(max : highest)
  for (int i = 0; i < n; ++i) {
    const float lower = v[i] <= median ? 1.0F : 0.0F, near = v[i] >= low && v[i] <= high ? 1.0F : 0.0F;
    lower_sum += lower * v[i];
    lower_count += lower;
    near_sum += near * v[i];
    near_count += near;
    highest = std::max(highest, v[i]);
  }
  SectorLevel out{median, median, highest};
  if (near_count > 0.0F) out.level = near_sum / near_count;
  if (lower_count > 0.0F) out.lower_half = lower_sum / lower_count;
  return out;
}

struct Plane {
  double rise = 0.0;    ///< from the middle to the circle, straight up the slope
  double misfit = 0.0;  ///< sum of squared differences
};

/// The plane through eight evenly spaced points of a circle, the first at −x.
Plane plane_through(const std::array<float, 8>& level) {
  constexpr std::array<double, 8> kCos{-1.0, -M_SQRT1_2, 0.0, M_SQRT1_2, 1.0, M_SQRT1_2, 0.0, -M_SQRT1_2};
  double mean = 0.0, along_x = 0.0, along_y = 0.0;
  Plane plane;
  for (std::size_t k = 0; k < 8; ++k) {
    mean += 0.125 * static_cast<double>(level[k]);
    along_x += 0.25 * kCos[k] * static_cast<double>(level[k]);
    along_y += 0.25 * kCos[(k + 6) % 8] * static_cast<double>(level[k]);
  }
  for (std::size_t k = 0; k < 8; ++k)
    plane.misfit += std::pow(static_cast<double>(level[k]) - mean - along_x * kCos[k] - along_y * kCos[(k + 6) % 8], 2);
  plane.rise = std::hypot(along_x, along_y);
  return plane;
}

/// Sum of squares and number of the samples below a level, where no star's light disturbs.
struct Below {
  float square = 0.0F, count = 0.0F;

  void add(const float* v, int n, float level) {
    float sum = 0.0F, in = 0.0F;
#pragma omp simd reduction(+ : sum, in)
    for (int i = 0; i < n; ++i) {
      const float off = std::min(0.0F, v[i] - level);
      sum += off * off;
      in += off < 0.0F ? 1.0F : 0.0F;
    }
    square += sum;
    count += in;
  }
  [[nodiscard]] double scatter() const {
    return count > 0.0F ? std::sqrt(static_cast<double>(square / count)) : 0.0;
  }
};

}  // namespace

ClassValues levels_at(const BackgroundMap& background, int x, int y) {
  ClassValues level{};
  for (int c = 0; c < background.classes(); ++c)
    level[static_cast<std::size_t>(c)] = background.level((x & ~1) + (c & 1), (y & ~1) + (c >> 1));
  return level;
}

ClassValues noises_at(const BackgroundMap& background, int x, int y) {
  ClassValues noise{};
  for (int c = 0; c < background.classes(); ++c)
    noise[static_cast<std::size_t>(c)] = background.noise((x & ~1) + (c & 1), (y & ~1) + (c >> 1));
  return noise;
}

Ring::Ring(const Frame& frame, const BackgroundMap& background, double sigma_px)
    : frame_(frame), background_(background) {
  const double inner = kInnerPerSigma * sigma_px + 1.0, outer = inner + kWidth_px;
  reach_ = static_cast<int>(std::ceil(outer));
  radius_ = 0.5 * (inner + outer);
  for (int dy = -reach_; dy <= reach_; ++dy)
    for (int dx = -reach_; dx <= reach_; ++dx) {
      const double d = std::hypot(dx, dy);
      if (d < inner || d > outer) continue;
      const double turn = (std::atan2(dy, dx) / (2.0 * M_PI) + 0.5) * kSectors;
      offsets_[static_cast<std::size_t>(std::lround(turn)) % kSectors].push_back(
          {dx, dy, static_cast<std::ptrdiff_t>(dy) * frame.width + dx});
    }
  // Rings around wide images have more pixels than they need.
  for (auto& sector : offsets_) {
    const std::size_t step = (sector.size() + kMostPixels - 1) / kMostPixels;
    for (std::size_t i = 0; i * step < sector.size(); ++i) sector[i] = sector[i * step];
    sector.resize((sector.size() + step - 1) / step);
  }
}

double Ring::level_error() const {
  std::size_t pixels = 0;
  for (const auto& sector : offsets_) pixels += sector.size();
  return kClippedMean / std::sqrt(static_cast<double>(pixels));
}

void Ring::fill(int x, int y, std::array<Sector, kSectors>& sectors) const {
  const ClassValues sky = levels_at(background_, x, y);
  const std::uint16_t* here =
      frame_.pixels.data() + static_cast<std::ptrdiff_t>(y) * frame_.width + static_cast<std::ptrdiff_t>(x);
  const bool inside = x >= reach_ && y >= reach_ && x + reach_ < frame_.width && y + reach_ < frame_.height;
  for (std::size_t k = 0; k < kSectors; ++k) {
    Sector& sector = sectors[k];
    sector.pixels = 0;
    if (inside && background_.classes() == 1) {
      for (const Offset& o : offsets_[k]) sector.value[sector.pixels++] = static_cast<float>(here[o.at]) - sky[0];
      continue;
    }
    for (const Offset& o : offsets_[k]) {
      const int px = x + o.dx, py = y + o.dy;
      if (!inside && (px < 0 || py < 0 || px >= frame_.width || py >= frame_.height)) continue;
      const auto c = static_cast<std::size_t>(background_.class_of(px, py));
      sector.value[sector.pixels++] = static_cast<float>(here[o.at]) - sky[c];
    }
  }
}

Surroundings Ring::around(int x, int y) const {
  std::array<Sector, kSectors> sectors;
  fill(x, y, sectors);
  Surroundings out;
  const float map_noise = background_.noise(x, y);
  out.noise = static_cast<double>(map_noise);
  std::array<float, kSectors> level{}, lower{};
  std::array<bool, kSectors> seen{}, starry{};
  Below below;
  for (std::size_t k = 0; k < kSectors; ++k) {
    seen[k] = 2 * sectors[k].pixels > offsets_[k].size();
    if (!seen[k]) continue;
    const SectorLevel l = level_of(sectors[k].value.data(), static_cast<int>(sectors[k].pixels), map_noise);
    level[k] = l.level;
    lower[k] = l.lower_half;
    starry[k] = l.highest > l.level + kStar * map_noise;
    below.add(sectors[k].value.data(), static_cast<int>(sectors[k].pixels), level[k]);
  }
  // Sectors beyond the frame's edge take the level of the one across, those in its corners their neighbours'.
  for (std::size_t k = 0; k < kSectors; ++k) {
    if (seen[k]) continue;
    for (const std::size_t other : {k + 4, k + 3, k + 5, k + 2, k + 6, k + 1, k + 7})
      if (seen[other % kSectors]) {
        level[k] = level[other % kSectors];
        lower[k] = lower[other % kSectors];
        starry[k] = starry[other % kSectors];
        break;
      }
  }
  out.mean = std::accumulate(level.begin(), level.end(), 0.0) / kSectors;
  const double pixels = static_cast<double>(below.count) * 2.0 / kSectors;
  constexpr double kTooMuch = 21.0;  // χ² of five degrees of freedom, passed by chance once in a thousand
  std::array<float, kSectors> sorted = level;
  std::sort(sorted.begin(), sorted.end());
  out.step = static_cast<double>(sorted[kSectors / 2] - sorted[0]);
  const Plane plane = plane_through(lower);
  out.one_sky = plane.misfit * pixels < kTooMuch * std::pow(kLowerHalfMean * out.noise, 2);
  if (out.one_sky) {
    out.level = out.mean;
    // Known to 5 %. A slope across a tile of the map widens the tile's histogram; what it adds is taken out.
    const double scatter = below.scatter(), slope = plane.rise / radius_;
    const double widened = slope * slope * BackgroundMap::kTile * BackgroundMap::kTile / 12.0;
    const double flat = std::sqrt(std::max(scatter * scatter, out.noise * out.noise - widened));
    constexpr double kClearly = 1.25;
    const bool map_follows = std::abs(out.level) < 0.3 * out.noise;
    if (scatter > kClearly * out.noise || (map_follows && kClearly * flat < out.noise)) out.noise = flat;
    return out;
  }
  std::size_t sky = 0;
  for (std::size_t k = 1; k < kSectors; ++k)
    if (std::pair(!starry[k], lower[k]) > std::pair(!starry[sky], lower[sky])) sky = k;
  out.level = static_cast<double>(level[sky]);
  Below there;
  there.add(sectors[sky].value.data(), seen[sky] ? static_cast<int>(sectors[sky].pixels) : 0, level[sky]);
  out.noise = std::max(out.noise, there.scatter());
  return out;
}

}  // namespace polewright
