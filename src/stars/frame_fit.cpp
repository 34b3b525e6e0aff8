#include "stars/frame_fit.hpp"

#include <algorithm>
#include <cmath>

#include "base/parallel.hpp"
#include "stars/neighbours.hpp"

namespace polewright {
namespace {

constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)
constexpr double kReachPerSigma = 3.6;                // the light beyond moves the errors by less than 1 %
constexpr double kFreeShapeSnr = 12.0;                // below, a star's own width and trail say nothing

double median(std::vector<double> v, double otherwise) {
  if (v.empty()) return otherwise;
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

/// Fits of all stars of a frame under way.
class FrameFitter {
 public:
  FrameFitter(const Frame& frame, const BackgroundMap& background, const StarOptions& options, std::vector<Star>& stars)
      : frame_(frame), background_(background), options_(options), stars_(stars), fits_(stars.size()) {}

  FrameProfile run(double window_px) {
    profile_.sigma_px = std::sqrt(std::max(0.25, window_px * window_px - 1.0 / 12.0));
    guess_gain();
    seeds_.reserve(stars_.size());
    for (const Star& s : stars_) seeds_.push_back(seed_of(s));
    neighbours_ = neighbours_within(stars_, 2.0 * kReachPerSigma * profile_.sigma_px);
    calibrate();
    const std::size_t n = std::min(stars_.size(), static_cast<std::size_t>(options_.max_fitted));
    for_each(n, [&](std::size_t i) { fit(i, seeds_); });
    refine_crowded(n);
    for (std::size_t i = 0; i < n; ++i)
      if (fits_[i]) store(*fits_[i], stars_[i]);
    return profile_;
  }

 private:
  template <class Body>
  void for_each(std::size_t n, Body body) {
    constexpr std::size_t kBatch = 16;
    parallel_for((n + kBatch - 1) / kBatch, options_.threads, [&](std::size_t b) {
      for (std::size_t i = b * kBatch; i < std::min(n, (b + 1) * kBatch); ++i) body(i);
    });
  }

  /// Sky noise is at least the sky's photon noise; stars will say better.
  void guess_gain() {
    for (int c = 0; c < background_.classes(); ++c) {
      const float level = background_.tile_level(c, background_.tiles_x() / 2, background_.tiles_y() / 2);
      const float noise = background_.tile_noise(c, background_.tiles_x() / 2, background_.tiles_y() / 2);
      const auto k = static_cast<std::size_t>(c);
      profile_.noise.gain[k] = noise * noise / std::max(1.0F, level - static_cast<float>(frame_.black_level[k]));
    }
  }

  [[nodiscard]] StarFit seed_of(const Star& s) const {
    StarFit f;
    f.shape = {s.position.x, s.position.y, profile_.sigma_px, 0.0, 0.0};
    f.colours = frame_.mosaic.is_colour() ? 3 : 1;
    f.flux.fill(s.flux);
    return f;
  }

  [[nodiscard]] FitPixels pixels_of(std::size_t i, const std::vector<StarFit>& others) const {
    const StarShape& shape = seeds_[i].shape;
    FitPixels pixels = cut_pixels(frame_, background_, profile_.noise, {shape.x, shape.y}, 0.0, 0.0,
                                  std::max(3.0, kReachPerSigma * profile_.sigma_px + 0.5));
    for (const std::uint32_t k : neighbours_[i]) subtract_star(others[k], profile_.wings, pixels);
    return pixels;
  }

  [[nodiscard]] FitPriors priors_for(const Star& s) const {
    FitPriors priors;
    priors.sigma = profile_.sigma_px;
    priors.sigma_spread = 0.3 * profile_.sigma_px;
    if (s.snr < kFreeShapeSnr) {
      priors.sigma_spread = 0.0;
      priors.trail_spread = 0.0;
    }
    return priors;
  }

  void fit(std::size_t i, const std::vector<StarFit>& others) {
    fits_[i] = fit_star(pixels_of(i, others), seeds_[i], priors_for(stars_[i]), profile_.wings);
  }

  /// Bright, clean, lonely stars, spread over the list's brighter part.
  [[nodiscard]] std::vector<std::size_t> exemplars() const {
    constexpr std::size_t kWanted = 150;
    std::vector<std::size_t> out;
    for (std::size_t i = 0; i < stars_.size() && out.size() < kWanted; ++i)
      if (stars_[i].flags.usable() && !stars_[i].flags.saturated && stars_[i].snr > 25.0 && neighbours_[i].empty())
        out.push_back(i);
    return out;
  }

  /// Width and gain from the exemplars, twice: the second time with weights that fit.
  void calibrate() {
    const std::vector<std::size_t> sample = exemplars();
    if (sample.size() < 5) return;
    for (int round = 0; round < 2; ++round) {
      std::vector<std::array<double, 4>> gains(sample.size());
      for_each(sample.size(), [&](std::size_t k) {
        fit(sample[k], seeds_);
        if (fits_[sample[k]]) gains[k] = gain_of(pixels_of(sample[k], seeds_), *fits_[sample[k]]);
      });
      std::vector<double> widths;
      std::array<std::vector<double>, 4> gain;
      for (std::size_t k = 0; k < sample.size(); ++k) {
        if (!fits_[sample[k]]) continue;
        widths.push_back(fits_[sample[k]]->shape.sigma);
        for (std::size_t c = 0; c < 4; ++c)
          if (gains[k][c] > 0.0) gain[c].push_back(gains[k][c]);
      }
      profile_.sigma_px = median(widths, profile_.sigma_px);
      for (std::size_t c = 0; c < 4; ++c)
        if (gain[c].size() >= 5)
          profile_.noise.gain[c] = static_cast<float>(median(gain[c], static_cast<double>(profile_.noise.gain[c])));
      for (StarFit& s : seeds_) s.shape.sigma = profile_.sigma_px;
    }
  }

  /// Excess of squared residuals over sky noise per unit of star light, per class of the pattern.
  [[nodiscard]] std::array<double, 4> gain_of(const FitPixels& pixels, const StarFit& f) const {
    const FitResiduals r = residuals_of(pixels, f, profile_.wings);
    std::array<double, 4> excess{}, light{}, gain{};
    std::size_t i = 0;
    for (std::size_t row = 0; row < pixels.spans.rows.size(); ++row)
      for (int x = pixels.spans.rows[row].x0; x < pixels.spans.rows[row].x1; ++x, ++i) {
        const auto k = static_cast<Eigen::Index>(i);
        const auto c = static_cast<std::size_t>(background_.class_of(x, pixels.spans.y0 + static_cast<int>(row)));
        const double sky = pixels.sky_variance[i], m = std::max(0.0F, r.light[k]);
        const double variance = sky + pixels.gain[i] * m;
        if (!std::isfinite(variance) || r.leverage[k] > 0.8F) continue;
        const double w = 1.0 / (variance * variance);
        excess[c] += w * m * (r.residual[k] * r.residual[k] / (1.0 - r.leverage[k]) - sky);
        light[c] += w * m * m;
      }
    for (std::size_t c = 0; c < 4; ++c) gain[c] = light[c] > 0.0 ? std::max(1e-6, excess[c] / light[c]) : 0.0;
    return gain;
  }

  /// Stars with neighbours once more, with the neighbours' fits instead of their first guesses.
  void refine_crowded(std::size_t n) {
    for (int round = 0; round < 2; ++round) {
      std::vector<StarFit> now = seeds_;
      for (std::size_t i = 0; i < n; ++i)
        if (fits_[i]) now[i] = *fits_[i];
      for_each(n, [&](std::size_t i) {
        if (!neighbours_[i].empty()) fit(i, now);
      });
    }
  }

  static void store(const StarFit& f, Star& s) {
    s.position = {f.shape.x, f.shape.y};
    s.position_cov = {f.covariance(0, 0), f.covariance(0, 1), f.covariance(1, 1)};
    s.background += f.sky;
    if (f.colours == 1) {
      s.flux = f.flux[0];
      s.flux_sigma = std::sqrt(f.covariance(6, 6));
    } else {  // as many samples see green as red and blue together
      const Eigen::Vector3d share(0.25, 0.5, 0.25);
      s.flux = share.dot(Eigen::Map<const Eigen::Vector3d>(f.flux.data()));
      s.flux_sigma = std::sqrt(share.dot(f.covariance.block<3, 3>(6, 6) * share));
    }
    s.fwhm_px = kFwhmPerSigma * f.shape.sigma;
    s.flags.fit_failed = false;
  }

  const Frame& frame_;
  const BackgroundMap& background_;
  const StarOptions& options_;
  std::vector<Star>& stars_;
  FrameProfile profile_;
  std::vector<StarFit> seeds_;
  std::vector<std::optional<StarFit>> fits_;
  std::vector<std::vector<std::uint32_t>> neighbours_;
};

}  // namespace

FrameProfile fit_stars(const Frame& frame, const BackgroundMap& background, double window_px,
                       const StarOptions& options, std::vector<Star>& stars) {
  return FrameFitter(frame, background, options, stars).run(window_px);
}

}  // namespace polewright
