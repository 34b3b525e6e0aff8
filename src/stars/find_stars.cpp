#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/parallel.hpp"
#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/detect.hpp"
#include "stars/frame_fit.hpp"
#include "stars/measure.hpp"

namespace polewright {
namespace {

constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)
constexpr double kFirstLook_px = 1.3;                 // loses under 10 % of significance for stars of σ 0.8–2.1 px
constexpr double kMinSigma_px = 0.45;                 // a point blurred by the pixel alone has σ = 0.29 px

double median(std::vector<double>& v) {
  if (v.empty()) return 0.0;
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return *middle;
}

double mean_sigma(const Covariance2& m) {
  return std::sqrt(std::max(0.0, 0.5 * (m.xx + m.yy)));
}

/// Width of the frame's own star images, from its brightest unsaturated candidates; the first look when there are none.
double measure_star_size(const Frame& frame, const BackgroundMap& background,
                         const std::vector<Candidate>& candidates) {
  constexpr std::size_t kWanted = 200;
  double sigma = kFirstLook_px;
  for (int round = 0; round < 3; ++round) {
    std::vector<double> widths;
    for (const Candidate& c : candidates) {
      if (widths.size() >= kWanted || c.significance < 10.0F) break;
      const Measurement m = measure(frame, background, {static_cast<double>(c.x), static_cast<double>(c.y)}, sigma);
      if (!m.converged || m.saturated_pixels > 0 || m.at_edge) continue;
      const double width = mean_sigma(m.moments);
      if (width > kMinSigma_px) widths.push_back(width);
    }
    if (widths.size() < 5) return sigma;
    const double next = std::clamp(median(widths), kMinSigma_px, 8.0);
    if (std::abs(next - sigma) < 0.05 * sigma) return next;
    sigma = next;
  }
  return sigma;
}

Star star_from(const Candidate& c, const Measurement& m, double sigma_px) {
  Star s;
  s.position = {m.x, m.y};
  s.flux = m.flux;
  s.flux_sigma = m.noise * std::sqrt(4.0 * M_PI) * sigma_px;
  s.peak = m.peak;
  s.background = m.sky;
  s.snr = static_cast<double>(c.significance);
  s.moments = m.moments;
  s.fwhm_px = kFwhmPerSigma * mean_sigma(m.moments);
  const double variance = std::pow(std::sqrt(8.0 * M_PI) * sigma_px * sigma_px * m.noise / std::max(m.flux, 1.0), 2);
  s.position_cov = {variance, 0.0, variance};
  s.flags.saturated = m.saturated_pixels > 0;
  s.flags.edge = m.at_edge;
  s.flags.fit_failed = true;
  s.flags.hot_pixel = m.converged && mean_sigma(m.moments) < 0.55 * sigma_px && m.saturated_pixels < 5;
  s.flags.too_large = mean_sigma(m.moments) > 3.0 * sigma_px;
  return s;
}

}  // namespace

Result<StarList> find_stars(const Frame& frame, const StarOptions& options) {
  if (!(options.threshold_sigma >= 3.0))
    return Error{ErrorCode::option_invalid, frame.path.string(),
                 fmt::format("detection threshold {} σ", options.threshold_sigma), "3 σ or more", "Leave it at 5."};
  StarList list;
  list.width = frame.width;
  list.height = frame.height;
  if (frame.width < 16 || frame.height < 16 || frame.pixels.empty()) {
    list.flags.emplace_back("no stars");
    return list;
  }
  const BackgroundMap background = BackgroundMap::measure(frame, options.threads);
  list.sky_level = background.median_level();
  list.sky_noise = background.median_noise();
  std::vector<Candidate> candidates =
      detect(frame, background, kFirstLook_px, options.threshold_sigma, 1, options.threads);
  const double sigma = measure_star_size(frame, background, candidates);
  if (std::abs(sigma - kFirstLook_px) > 0.25 * kFirstLook_px)
    candidates = detect(frame, background, sigma, options.threshold_sigma, 1, options.threads);
  if (candidates.size() > static_cast<std::size_t>(options.max_stars))
    candidates.resize(static_cast<std::size_t>(options.max_stars));

  std::vector<std::optional<Star>> measured(candidates.size());
  constexpr std::size_t kBatch = 64;
  parallel_for((candidates.size() + kBatch - 1) / kBatch, options.threads, [&](std::size_t b) {
    for (std::size_t i = b * kBatch; i < std::min(candidates.size(), (b + 1) * kBatch); ++i) {
      const Candidate& c = candidates[i];
      const Measurement m = measure(frame, background, {static_cast<double>(c.x), static_cast<double>(c.y)}, sigma);
      // On edges and in glow the ring scatters more than the map says: the same threshold against that scatter.
      if (!(m.flux > 0.0) || c.significance * m.noise < options.threshold_sigma * m.ring_noise) continue;
      measured[i] = star_from(c, m, sigma);
    }
  });
  for (auto& s : measured)
    if (s) list.stars.push_back(std::move(*s));
  std::sort(list.stars.begin(), list.stars.end(), [](const Star& a, const Star& b) { return a.flux > b.flux; });

  const FrameProfile profile = fit_stars(frame, background, sigma, options, list.stars);
  list.psf_sigma_px = profile.sigma_px;
  std::vector<double> widths;
  for (const Star& s : list.stars)
    if (s.flags.usable() && !s.flags.saturated && s.snr > 10.0) widths.push_back(s.fwhm_px);
  list.fwhm_px = widths.empty() ? kFwhmPerSigma * sigma : median(widths);
  if (list.stars.empty()) list.flags.emplace_back("no stars");
  return list;
}

}  // namespace polewright
