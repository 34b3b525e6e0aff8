#include "stars/candidates.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include "base/parallel.hpp"
#include "stars/measure.hpp"
#include "stars/neighbours.hpp"
#include "stars/profile.hpp"

namespace polewright {

double without_pixel(double sigma_px) {
  return std::sqrt(std::max(0.09, sigma_px * sigma_px - 1.0 / 12.0));
}

namespace {

constexpr double kFaint = 20.0;
constexpr double kSilhouette = 40.0;                  // edges make no maxima as significant as this
constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)

Star star_from(const Measurement& m, const Surroundings& sky, double significance, const StarSize& size, bool mosaic) {
  Star s;
  s.position = {m.x, m.y};
  s.flux = m.flux;
  s.flux_sigma = sky.noise * std::sqrt(4.0 * M_PI) * size.sigma_px;
  s.peak = m.peak;
  s.background = m.sky;
  s.snr = significance;
  s.moments = m.moments;
  const double half = 0.5 * (m.moments.xx - m.moments.yy), mean = 0.5 * (m.moments.xx + m.moments.yy);
  s.fwhm_px = kFwhmPerSigma * without_pixel(std::sqrt(std::max(0.0, mean - std::hypot(half, m.moments.xy))));
  const double bound = std::sqrt(8.0 * M_PI) * size.sigma_px * size.sigma_px * sky.noise / std::max(m.flux, 1.0);
  s.position_cov = {bound * bound, 0.0, bound * bound};
  // A start for the fit: the frame's common trail, or the star's own where it is long beyond doubt; moments of narrow
  // images depend on where in the pixel they fall.
  const double q = 24.0 * std::hypot(half, m.moments.xy), longest = 64.0 * size.sigma_px * size.sigma_px;
  const bool own = s.snr > 25.0 && m.saturated_pixels == 0 && q > 4.0 * std::max(1.0, mean) && q < longest;
  root_of({own ? 24.0 * half : size.q1, own ? 24.0 * m.moments.xy : size.q2}, s.trail_x_px, s.trail_y_px);
  s.flags.saturated = m.saturated_pixels > 0;
  s.flags.edge = m.at_edge;
  // Beside a silhouette what stands out by less than the step may be made by the step. Medians of sectors scatter by a
  // quarter of the noise.
  const bool beside_ground = sky.step > 1.6 * sky.noise && m.peak < 2.5 * sky.step && significance < kSilhouette;
  s.flags.foreground = beside_ground && m.saturated_pixels == 0;
  s.flags.fit_failed = true;
  // Through a mosaic a star of one colour can look as narrow as a pixel; there only the pixels beside the peak decide.
  s.flags.hot_pixel = !mosaic && m.converged && mean < 0.3 * size.sigma_px * size.sigma_px && m.saturated_pixels < 5;
  s.flags.too_large = m.saturated_pixels == 0 && mean > 9.0 * size.sigma_px * size.sigma_px;
  return s;
}

}  // namespace

std::vector<Star> measure_candidates(const Frame& frame, const BackgroundMap& background, const LocalSky& local,
                                     const std::vector<Candidate>& candidates, const StarSize& size,
                                     const StarOptions& options) {
  std::vector<std::optional<Star>> measured(candidates.size());
  constexpr std::size_t kBatch = 64;
  parallel_for((candidates.size() + kBatch - 1) / kBatch, options.threads, [&](std::size_t b) {
    for (std::size_t i = b * kBatch; i < std::min(candidates.size(), (b + 1) * kBatch); ++i) {
      const Candidate& c = candidates[i];
      LocalSky::Judged judged = local.judge(c.x, c.y);
      // What stands out of the ring but not of its brighter sky is kept, as doubtful as it is.
      const bool doubtful = judged.significance <= options.threshold_sigma;
      if (doubtful && (judged.sky.one_sky || judged.over_ring <= options.threshold_sigma)) continue;
      if (doubtful) judged.sky.level = judged.sky.mean, judged.significance = judged.over_ring;
      const Measurement m = measure(frame, background, c.x, c.y, judged.sky.level, size.sigma_px);
      if (!(m.flux > 0.0)) continue;
      judged.sky.noise *= local.excess_noise();
      measured[i] = star_from(m, judged.sky, judged.significance, size, frame.mosaic.is_colour());
      measured[i]->flags.foreground |= doubtful;
      // Of bright ones the fit tells more.
      if (judged.significance < kFaint && local.is_interpolated_pixel(c.x, c.y, judged.sky))
        measured[i]->flags.hot_pixel = true;
      // A pixel at the white level says nothing about how sharp it is; those beside it do.
      if (m.saturated_pixels > 0 ? stands_alone(frame, background, c.x, c.y)
                                 : clearly_stands_alone(frame, background, c.x, c.y))
        measured[i]->flags.hot_pixel = true;
    }
  });
  std::vector<Star> stars;
  for (auto& s : measured)
    if (s) stars.push_back(std::move(*s));
  return without_repeats(stars, 0.8 * size.sigma_px);
}

std::vector<Star> without_repeats(const std::vector<Star>& stars, double reach_px) {
  std::vector<std::size_t> order(stars.size());
  std::iota(order.begin(), order.end(), 0U);
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return stars[a].snr > stars[b].snr; });
  const auto near = neighbours_within(stars, reach_px);
  std::vector<bool> dropped(stars.size(), false);
  for (const std::size_t i : order)
    if (!dropped[i])
      for (const std::uint32_t k : near[i]) dropped[k] = true;
  std::vector<Star> kept;
  for (std::size_t i = 0; i < stars.size(); ++i)
    if (!dropped[i]) kept.push_back(stars[i]);
  return kept;
}

}  // namespace polewright
