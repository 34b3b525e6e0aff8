#include "stars/local_sky.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "stars/calibration.hpp"

namespace polewright {

namespace {

/// Scaled so that white noise stays at unit variance when the taps are used along both axes.
std::vector<float> normalised(std::vector<double> taps) {
  double energy = 0.0;
  for (const double t : taps) energy += t * t;
  std::vector<float> out;
  for (const double t : taps) out.push_back(static_cast<float>(t / std::sqrt(energy)));
  return out;
}

std::vector<float> gaussian_taps(double sigma_px) {
  const int reach = static_cast<int>(std::ceil(2.6 * sigma_px));
  std::vector<double> taps;
  for (int k = -reach; k <= reach; ++k) taps.push_back(std::exp(-0.5 * k * k / (sigma_px * sigma_px)));
  return normalised(std::move(taps));
}

/// Response of one filter to the image that another is made for, over the response of its own.
double overlap(const std::vector<float>& a, const std::vector<float>& b) {
  const auto& wide = a.size() > b.size() ? a : b;
  const auto& narrow = a.size() > b.size() ? b : a;
  const std::size_t skip = (wide.size() - narrow.size()) / 2;
  double sum = 0.0;
  for (std::size_t i = 0; i < narrow.size(); ++i) sum += static_cast<double>(narrow[i] * wide[i + skip]);
  return sum * sum;  // both axes
}

}  // namespace

LocalSky::LocalSky(const Frame& frame, const BackgroundMap& background, double kernel_px, double star_px)
    : frame_(frame), background_(background), ring_(frame, background, star_px) {
  // A mosaic's kernel is wider by the average over neighbours that takes the pattern out.
  taps_ = gaussian_taps(std::sqrt(kernel_px * kernel_px + (frame.mosaic.is_colour() ? 0.5 : 0.0)));
  const double sum = static_cast<double>(std::accumulate(taps_.begin(), taps_.end(), 0.0F));
  light_ = sum * sum;
  level_noise_ = std::hypot(1.0, light_ * ring_.level_error());
  excess_noise_ = measure_excess();
  if (frame.planes_combined == 1) return;
  constexpr double kTellable = 0.95;
  hat_ = normalised({0.5, 1.0, 0.5});
  const std::vector<float> star = gaussian_taps(star_px);
  hat_of_star_ = overlap(star, hat_) / overlap(star, taps_);
  hat_of_hat_ = 1.0 / overlap(hat_, taps_);
  if (hat_of_star_ > kTellable * hat_of_hat_) hat_.clear();
}

double LocalSky::filtered(int x, int y, const std::vector<float>& taps, const ClassValues& level,
                          const ClassValues& noise) const {
  const int reach = static_cast<int>(taps.size()) / 2;
  const int x0 = std::max(0, x - reach), n = std::min(frame_.width - 1, x + reach) - x0 + 1;
  const float* tap = &taps[static_cast<std::size_t>(x0 - x + reach)];
  float sum = 0.0F;
  for (int j = std::max(0, y - reach); j <= std::min(frame_.height - 1, y + reach); ++j) {
    const std::uint16_t* row = &frame_.pixels[static_cast<std::size_t>(j) * static_cast<std::size_t>(frame_.width) +
                                              static_cast<std::size_t>(x0)];
    float line = 0.0F;
    for (int parity = 0; parity < 2; ++parity) {
      const auto c = static_cast<std::size_t>(background_.class_of(x0 + parity, j));
      float part = 0.0F;
      for (int i = parity; i < n; i += 2) part += tap[i] * (static_cast<float>(row[i]) - level[c]);
      line += part / noise[c];
    }
    sum += taps[static_cast<std::size_t>(j - y + reach)] * line;
  }
  return static_cast<double>(sum);
}

bool LocalSky::is_interpolated_pixel(int x, int y, const Surroundings& sky) const {
  if (hat_.empty()) return false;
  ClassValues level = levels_at(background_, x, y);
  for (float& l : level) l += static_cast<float>(sky.level);
  const ClassValues noise = noises_at(background_, x, y);
  const double kernel = filtered(x, y, taps_, level, noise);
  const double sharper = filtered(x, y, hat_, level, noise) - hat_of_star_ * kernel;
  // Subsampled colours make a coloured pixel wider than the hat: a quarter of the way there is enough, with noise to
  // spare. Three in a hundred stars near the threshold are lost with it.
  const double difference_noise = excess_noise_ * std::sqrt(1.0 - std::pow(overlap(hat_, taps_), 2));
  return sharper > 0.25 * (hat_of_hat_ - hat_of_star_) * kernel + 0.75 * difference_noise;
}

LocalSky::Judged LocalSky::judge(int x, int y) const {
  Judged out{ring_.around(x, y)};
  ClassValues level = levels_at(background_, x, y);
  for (float& l : level) l += static_cast<float>(out.sky.level);
  const double worse = out.sky.noise / static_cast<double>(background_.noise(x, y));
  out.significance =
      filtered(x, y, taps_, level, noises_at(background_, x, y)) / (worse * level_noise_ * excess_noise_);
  out.over_ring =
      out.significance + light_ * (out.sky.level - out.sky.mean) / (out.sky.noise * level_noise_ * excess_noise_);
  return out;
}

double LocalSky::measure_excess() const {
  constexpr int kPlaces = 64;        // per axis; the scatter of 4096 differences is known to 2 %
  constexpr double kClearly = 1.25;  // stars too faint to be found make 1.1 of it, and are no fault of the pixels
  // Second differences between places near each other leave out what the map does not follow.
  const int reach = static_cast<int>(taps_.size()) / 2, apart = 2 * reach + 2;  // even: the same place in the pattern
  std::vector<double> off;
  for (int j = 0; j < kPlaces; ++j)
    for (int i = 0; i < kPlaces; ++i) {
      const int edge = apart + reach;
      const int x = edge + static_cast<int>((i + 0.5) / kPlaces * (frame_.width - 2 * edge));
      const int y = reach + static_cast<int>((j + 0.5) / kPlaces * (frame_.height - 2 * reach));
      if (x < edge || x + edge >= frame_.width) continue;
      const ClassValues level = levels_at(background_, x, y), noise = noises_at(background_, x, y);
      off.push_back(std::abs(filtered(x - apart, y, taps_, level, noise) - 2.0 * filtered(x, y, taps_, level, noise) +
                             filtered(x + apart, y, taps_, level, noise)));
    }
  // Stars make large differences; what lies beyond 3σ is left out until that settles.
  double scatter = 1.4826 * median_or(off, 0.0);
  for (int round = 0; round < 4; ++round) {
    std::erase_if(off, [&](double d) { return d > 3.0 * scatter; });
    scatter = 1.4826 * median_or(off, 0.0);
  }
  const double excess = scatter / std::sqrt(6.0);
  return excess > kClearly ? excess : 1.0;
}

}  // namespace polewright
