#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/parallel.hpp"
#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/calibration.hpp"
#include "stars/detect.hpp"
#include "stars/flags.hpp"
#include "stars/frame_fit.hpp"
#include "stars/measure.hpp"
#include "stars/neighbours.hpp"
#include "stars/star_size.hpp"
#include "stars/star_values.hpp"
#include "stars/trail_field.hpp"
#include "stars/trails.hpp"

namespace polewright {
namespace {

constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)
constexpr double kTexture = 1.8;            // scatter around a star over the map's noise from which it is not open sky
constexpr double kDoubtful = 8.0;           // significance below which a maximum on a wrong map is not believed
constexpr double kFaint = 50.0;             // significance from which a star shows through texture
constexpr double kTrailedElongation = 1.5;  // moments' ratio from which the frame may be one of trails

double without_pixel(double sigma_px) {
  return std::sqrt(std::max(0.09, sigma_px * sigma_px - 1.0 / 12.0));
}

/// False on steep glow, which lifts the level around a star, and on edges and texture, which scatter it.
bool map_holds(const Measurement& m) {
  return m.ring_level < 0.5 * m.noise && m.ring_noise < 1.3 * m.noise;
}

/// Significance above the ring's level; where the map is wrong altogether, against the ring's scatter too.
double local_significance(const Candidate& c, const Measurement& m, double sigma_px) {
  constexpr double kLevelNoise = 0.15;  // of a median over the ring, in units of the pixel noise
  const double lifted = std::max(0.0, m.ring_level / m.noise - kLevelNoise) * std::sqrt(4.0 * M_PI) * sigma_px;
  const double filtered = static_cast<double>(c.significance) - lifted;
  return map_holds(m) ? filtered : std::min(filtered, m.significance);
}

Star star_from(const Measurement& m, double significance, const StarSize& size, bool mosaic) {
  Star s;
  s.position = {m.x, m.y};
  s.flux = m.flux;
  s.flux_sigma = m.noise * std::sqrt(4.0 * M_PI) * size.sigma_px;
  s.peak = m.peak;
  s.background = m.sky;
  s.snr = significance;
  s.moments = m.moments;
  const double half = 0.5 * (m.moments.xx - m.moments.yy), mean = 0.5 * (m.moments.xx + m.moments.yy);
  s.fwhm_px = kFwhmPerSigma * without_pixel(std::sqrt(std::max(0.0, mean - std::hypot(half, m.moments.xy))));
  const double bound = std::sqrt(8.0 * M_PI) * size.sigma_px * size.sigma_px * m.noise / std::max(m.flux, 1.0);
  s.position_cov = {bound * bound, 0.0, bound * bound};
  // A start for the fit: the frame's common trail, or the star's own where it is long beyond doubt; moments of narrow
  // images depend on where in the pixel they fall.
  const double q = 24.0 * std::hypot(half, m.moments.xy), longest = 64.0 * size.sigma_px * size.sigma_px;
  const bool own = s.snr > 25.0 && m.saturated_pixels == 0 && q > 4.0 * std::max(1.0, mean) && q < longest;
  root_of({own ? 24.0 * half : size.q1, own ? 24.0 * m.moments.xy : size.q2}, s.trail_x_px, s.trail_y_px);
  s.flags.saturated = m.saturated_pixels > 0;
  s.flags.edge = m.at_edge;
  // Where the map fails a faint maximum may belong to what made it fail.
  const bool textured = m.ring_noise > kTexture * m.noise && significance < kFaint;
  s.flags.foreground = m.saturated_pixels == 0 && (textured || (!map_holds(m) && significance < kDoubtful));
  s.flags.fit_failed = true;
  // Through a mosaic a star of one colour can look as narrow as a pixel; there only the pixels beside the peak decide.
  s.flags.hot_pixel = !mosaic && m.converged && mean < 0.3 * size.sigma_px * size.sigma_px && m.saturated_pixels < 5;
  s.flags.too_large = m.saturated_pixels == 0 && mean > 9.0 * size.sigma_px * size.sigma_px;
  return s;
}

/// Maxima whose centroids ran together are one star; the more significant one stays. Expects falling significance.
std::vector<Star> without_repeats(std::vector<Star> stars, double reach_px) {
  const auto near = neighbours_within(stars, reach_px);
  std::vector<Star> kept;
  std::vector<bool> dropped(stars.size(), false);
  for (std::size_t i = 0; i < stars.size(); ++i) {
    if (dropped[i]) continue;
    for (const std::uint32_t k : near[i])
      if (k > i) dropped[k] = true;
    kept.push_back(stars[i]);
  }
  return kept;
}

/// Candidates that are bumps on their own surroundings, measured.
std::vector<Star> measure_candidates(const Frame& frame, const BackgroundMap& background,
                                     const std::vector<Candidate>& candidates, const StarSize& size,
                                     const StarOptions& options) {
  std::vector<std::optional<Star>> measured(candidates.size());
  constexpr std::size_t kBatch = 64;
  parallel_for((candidates.size() + kBatch - 1) / kBatch, options.threads, [&](std::size_t b) {
    for (std::size_t i = b * kBatch; i < std::min(candidates.size(), (b + 1) * kBatch); ++i) {
      const Candidate& c = candidates[i];
      const Measurement m =
          measure(frame, background, {static_cast<double>(c.x), static_cast<double>(c.y)}, size.sigma_px);
      const double significance = local_significance(c, m, size.sigma_px);
      if (m.flux > 0.0 && significance > options.threshold_sigma)
        measured[i] = star_from(m, significance, size, frame.mosaic.is_colour());
    }
  });
  std::vector<Star> stars;
  for (auto& s : measured)
    if (s) stars.push_back(std::move(*s));
  return without_repeats(std::move(stars), 0.8 * size.sigma_px);
}

Star star_from(const TrailCandidate& t, const Frame& frame, const BackgroundMap& background, double sigma_px) {
  Star s;
  s.position = t.middle;
  const int x = static_cast<int>(t.middle.x), y = static_cast<int>(t.middle.y);
  const double noise = background.noise(x, y), length = std::hypot(t.tx, t.ty);
  // Energy of the swept image as the matched filter sees it.
  const double flux_per_snr =
      noise * std::sqrt(4.0 * M_PI * sigma_px * std::sqrt(sigma_px * sigma_px + length * length / 12.0));
  s.flux = t.significance * flux_per_snr;
  s.flux_sigma = flux_per_snr;
  s.background = background.level(x, y);
  s.snr = t.significance;
  root_of(square_of(t.tx, t.ty), s.trail_x_px, s.trail_y_px);
  const double reach = 2.0 * sigma_px;
  const PixelSpans spans = spans_around(t.middle, t.tx, t.ty, reach, frame.width, frame.height);
  for (std::size_t r = 0; r < spans.rows.size(); ++r)
    for (int px = spans.rows[r].x0; px < spans.rows[r].x1; ++px) {
      const int py = spans.y0 + static_cast<int>(r);
      s.peak = std::max(s.peak, frame.at(px, py) - s.background);
      s.flags.saturated |= frame.at(px, py) >= 0.98 * frame.white_level;
    }
  const double across = std::sqrt(8.0 * M_PI) * sigma_px * sigma_px * noise / s.flux;
  s.position_cov = {across * across + t.tx * t.tx / 12.0 / s.snr, t.tx * t.ty / 12.0 / s.snr,
                    across * across + t.ty * t.ty / 12.0 / s.snr};
  s.moments = {sigma_px * sigma_px + t.tx * t.tx / 12.0, t.tx * t.ty / 12.0, sigma_px * sigma_px + t.ty * t.ty / 12.0};
  s.fwhm_px = kFwhmPerSigma * without_pixel(sigma_px);
  const auto cut = [&](double at, double half, int size) {
    return at - half - reach < 0.0 || at + half + reach > size - 1.0;
  };
  s.flags.edge = cut(t.middle.x, std::abs(t.tx) / 2, frame.width) || cut(t.middle.y, std::abs(t.ty) / 2, frame.height);
  s.flags.fit_failed = true;
  s.flags.hot_pixel = t.evenness < 0.3;
  return s;
}

/// The frame's own figures from its stars.
void summarise(const FrameProfile& profile, StarList& list) {
  list.psf_sigma_px = profile.sigma_px;
  std::vector<double> widths, lengths, q1, q2;
  for (const Star& s : list.stars)
    if (s.flags.usable() && !s.flags.saturated && !s.flags.fit_failed && s.snr > 12.0) {
      widths.push_back(s.fwhm_px);
      lengths.push_back(std::hypot(s.trail_x_px, s.trail_y_px));
      q1.push_back(s.trail_q1_px2);
      q2.push_back(s.trail_q2_px2);
    }
  list.fwhm_px = median_or(widths, kFwhmPerSigma * profile.sigma_px);
  list.trail_px = median_or(lengths, 0.0);
  // Error of a median from the median deviation: 1.2533 (a median's loss against a mean) · 1.4826 (to a normal's σ) /
  // √n.
  std::vector<double> off;
  for (const double length : lengths) off.push_back(std::abs(length - list.trail_px));
  const auto n = static_cast<double>(std::max<std::size_t>(1, off.size()));
  list.trail_sigma_px = 1.2533 * 1.4826 * median_or(std::move(off), 0.0) / std::sqrt(n);
  list.trail_angle_deg = 90.0 / M_PI * std::atan2(median_or(q2, 0.0), median_or(q1, 0.0));
  if (list.stars.empty()) list.flags.emplace_back("no stars");
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
  const StarSize size = measure_star_size(frame, background, candidates);

  FrameProfile profile;
  profile.sigma_px = without_pixel(size.sigma_across_px);
  std::optional<TrailedFrame> trailed;
  if (size.elongation > kTrailedElongation) {
    const double bend = options.focal_px ? 1.0 / (*options.focal_px * *options.focal_px) : 0.0;
    trailed = detect_trails(frame, background, size.sigma_across_px, options.threshold_sigma, bend, options.threads);
  }
  if (trailed) {
    profile.motion = trailed->field;
    for (const TrailCandidate& t : trailed->trails)
      list.stars.push_back(star_from(t, frame, background, size.sigma_across_px));
  } else {
    if (std::abs(size.sigma_px - kFirstLook_px) > 0.25 * kFirstLook_px)
      candidates = detect(frame, background, size.sigma_px, options.threshold_sigma, 1, options.threads);
    if (candidates.size() > static_cast<std::size_t>(options.max_stars))
      candidates.resize(static_cast<std::size_t>(options.max_stars));
    list.stars = measure_candidates(frame, background, candidates, size, options);
  }
  const auto brighter = [](const Star& a, const Star& b) { return a.flux > b.flux; };
  std::stable_sort(list.stars.begin(), list.stars.end(), brighter);
  if (list.stars.size() > static_cast<std::size_t>(options.max_stars))
    list.stars.resize(static_cast<std::size_t>(options.max_stars));
  fit_stars(frame, background, options, profile, list.stars);
  std::stable_sort(list.stars.begin(), list.stars.end(), brighter);
  flag_doubtful(frame, background, profile, options.threads, list.stars);
  summarise(profile, list);
  list.trail_field = fit_trail_field(list, options.focal_px, profile.motion);
  return list;
}

}  // namespace polewright
