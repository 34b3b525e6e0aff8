#include "stars/find_images.hpp"

#include <algorithm>
#include <cmath>

#include "stars/candidates.hpp"
#include "stars/detect.hpp"
#include "stars/local_sky.hpp"
#include "stars/star_values.hpp"

namespace polewright {
namespace {

constexpr double kFwhmPerSigma = 2.3548200450309493;  // 2√(2 ln 2)
constexpr double kHeadroom = 1.0;                     // below the threshold, where the map is too bright
constexpr double kTrailedElongation = 1.5;            // moments' ratio from which the frame may be one of trails

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

/// Of candidates by falling significance. Where there are too many the hot pixels go first; some of those kept will
/// turn out to be no stars all the same.
void keep_best(const Frame& frame, const BackgroundMap& background, double threshold, std::size_t most,
               std::vector<Candidate>& candidates) {
  const auto weak = std::find_if(candidates.begin(), candidates.end(),
                                 [&](const Candidate& c) { return static_cast<double>(c.significance) < threshold; });
  candidates.erase(weak, candidates.end());
  if (candidates.size() <= most) return;
  std::erase_if(candidates, [&](const Candidate& c) { return clearly_stands_alone(frame, background, c.x, c.y); });
  if (candidates.size() > most) candidates.resize(most);
}

/// Coarse sums show an image at least this share as significant as its pixels do, down to the sharpest.
constexpr double kCoarseShare = 1.0 / 1.5;

/// Candidates that a coarse look is sure not to have missed, hot pixels left out.
std::ptrdiff_t count_clear(const Frame& frame, const BackgroundMap& background, double threshold,
                           const std::vector<Candidate>& candidates) {
  return std::count_if(candidates.begin(), candidates.end(), [&](const Candidate& c) {
    return static_cast<double>(c.significance) * kCoarseShare > threshold &&
           !clearly_stands_alone(frame, background, c.x, c.y);
  });
}

/// Nothing when there are not `least` clear candidates.
std::optional<FoundImages> look(const Frame& frame, const BackgroundMap& background, const StarOptions& options,
                                Grain grain, int least) {
  FoundImages found;
  std::vector<Candidate> candidates =
      detect(frame, background, kFirstLook_px, options.threshold_sigma - kHeadroom, grain, options.threads);
  if (least > 0 && count_clear(frame, background, options.threshold_sigma, candidates) < least) return {};
  found.size = measure_star_size(frame, background, candidates);
  const StarSize& size = found.size;
  if (size.elongation > kTrailedElongation) {
    const double bend = options.focal_px ? 1.0 / (*options.focal_px * *options.focal_px) : 0.0;
    found.trailed =
        detect_trails(frame, background, size.sigma_across_px, options.threshold_sigma, bend, options.threads);
  }
  if (found.trailed) {
    for (const TrailCandidate& t : found.trailed->trails)
      found.stars.push_back(star_from(t, frame, background, size.sigma_across_px));
    return found;
  }
  const double kernel_px = std::abs(size.sigma_px / kFirstLook_px - 1.0) > 0.25 ? size.sigma_px : kFirstLook_px;
  const LocalSky local(frame, background, kernel_px, size.sigma_px);
  const double threshold = local.excess_noise() * options.threshold_sigma - kHeadroom;
  if (kernel_px != kFirstLook_px) candidates = detect(frame, background, kernel_px, threshold, grain, options.threads);
  keep_best(frame, background, threshold, static_cast<std::size_t>(options.max_stars + options.max_stars / 2),
            candidates);
  found.stars = measure_candidates(frame, background, local, candidates, size, options);
  return found;
}

}  // namespace

FoundImages find_images(const Frame& frame, const BackgroundMap& background, const StarOptions& options) {
  if (options.enough_stars > 0)
    if (auto found = look(frame, background, options, Grain::quad, options.enough_stars)) {
      const auto clear = [&](const Star& s) {
        return s.flags.usable() && s.snr * kCoarseShare > options.threshold_sigma;
      };
      if (found->trailed || std::count_if(found->stars.begin(), found->stars.end(), clear) >= options.enough_stars)
        return std::move(*found);
    }
  return *look(frame, background, options, Grain::pixel, 0);
}

}  // namespace polewright
