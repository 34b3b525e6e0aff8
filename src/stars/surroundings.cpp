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

SectorLevel level_of(float* v, std::size_t n, float noise) {
  const std::size_t half = n / 2;
  std::nth_element(v, v + half, v + n);
  const float low = v[half] - kClip * noise, high = v[half] + kClip * noise;
  SectorLevel out;
  for (std::size_t i = 0; i < half; ++i) out.lower_half += v[i];
  out.lower_half /= static_cast<float>(half);
  out.highest = *std::max_element(v + half, v + n);
  float sum = 0.0F, count = 0.0F;
  for (std::size_t i = 0; i < n; ++i) {
    const float in = v[i] >= low && v[i] <= high ? 1.0F : 0.0F;
    sum += in * v[i];
    count += in;
  }
  out.level = sum / count;
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
  double square = 0.0;
  int count = 0;

  void add(const float* v, std::size_t n, float level) {
    for (std::size_t i = 0; i < n; ++i)
      if (v[i] < level) square += static_cast<double>((v[i] - level) * (v[i] - level)), ++count;
  }
  [[nodiscard]] double scatter() const { return count > 0 ? std::sqrt(square / count) : 0.0; }
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
  const bool plain = background_.classes() == 1;
  for (std::size_t k = 0; k < kSectors; ++k) {
    Sector& sector = sectors[k];
    sector.pixels = 0;
    for (const Offset& o : offsets_[k]) {
      if (!inside && (x + o.dx < 0 || y + o.dy < 0 || x + o.dx >= frame_.width || y + o.dy >= frame_.height)) continue;
      const auto c = plain ? 0U : static_cast<std::size_t>(background_.class_of(x + o.dx, y + o.dy));
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
    const SectorLevel l = level_of(sectors[k].value.data(), sectors[k].pixels, map_noise);
    level[k] = l.level;
    lower[k] = l.lower_half;
    starry[k] = l.highest > l.level + kStar * map_noise;
    below.add(sectors[k].value.data(), sectors[k].pixels, level[k]);
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
  const double mean = std::accumulate(level.begin(), level.end(), 0.0) / kSectors;
  const double pixels = static_cast<double>(below.count) * 2.0 / kSectors;
  constexpr double kTooMuch = 21.0;  // χ² of five degrees of freedom, passed by chance once in a thousand
  std::array<float, kSectors> sorted = level;
  std::sort(sorted.begin(), sorted.end());
  out.step = static_cast<double>(sorted[kSectors / 2] - sorted[0]);
  const Plane plane = plane_through(lower);
  out.one_sky = plane.misfit * pixels < kTooMuch * std::pow(kLowerHalfMean * out.noise, 2);
  if (out.one_sky) {
    out.level = mean;
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
  there.add(sectors[sky].value.data(), seen[sky] ? sectors[sky].pixels : 0, level[sky]);
  out.noise = std::max(out.noise, there.scatter());
  return out;
}

}  // namespace polewright
