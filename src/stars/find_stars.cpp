#include <algorithm>
#include <cmath>

#include "base/parallel.hpp"
#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/calibration.hpp"
#include "stars/candidates.hpp"
#include "stars/detect.hpp"
#include "stars/flags.hpp"
#include "stars/frame_fit.hpp"
#include "stars/frame_flags.hpp"
#include "stars/local_sky.hpp"
#include "stars/star_size.hpp"
#include "stars/star_values.hpp"
#include "stars/trail_field.hpp"
#include "stars/trails.hpp"

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

/// What was found, before any profile is fitted.
struct Found {
  StarSize size;
  std::optional<TrailedFrame> trailed;
  std::vector<Star> stars;
};

/// Coarse sums show an image at least this share as significant as its pixels do, down to the sharpest.
constexpr double kCoarseShare = 1.0 / 1.5;

/// Nothing when there are not `least` candidates that a coarse look is sure not to have missed.
std::optional<Found> look(const Frame& frame, const BackgroundMap& background, const StarOptions& options, Grain grain,
                          std::ptrdiff_t least) {
  Found found;
  std::vector<Candidate> candidates =
      detect(frame, background, kFirstLook_px, options.threshold_sigma - kHeadroom, grain, options.threads);
  const auto sure = std::count_if(candidates.begin(), candidates.end(), [&](const Candidate& c) {
    return static_cast<double>(c.significance) * kCoarseShare > options.threshold_sigma;
  });
  if (sure < least) return {};
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
  const auto weak = std::find_if(candidates.begin(), candidates.end(),
                                 [&](const Candidate& c) { return static_cast<double>(c.significance) < threshold; });
  const auto most = static_cast<std::ptrdiff_t>(options.max_stars + options.max_stars / 2);
  candidates.erase(std::min(weak, candidates.begin() + std::min(most, std::ssize(candidates))), candidates.end());
  found.stars = measure_candidates(frame, background, local, candidates, size, options);
  return found;
}

/// A short list of a rich frame's brightest needs a coarse look only: what that misses would not be on the list.
Found look_as_needed(const Frame& frame, const BackgroundMap& background, const StarOptions& options) {
  constexpr std::size_t kShort = 5000;  // pixels to a listed star from which a coarse look is worth a try
  const auto wanted = static_cast<std::size_t>(options.max_stars);
  if (wanted * kShort < frame.pixels.size()) {
    std::optional<Found> found = look(frame, background, options, Grain::quad, options.max_stars);
    const auto sure = [&](const Star& s) { return s.flags.usable() && s.snr * kCoarseShare > options.threshold_sigma; };
    const bool enough =
        found && (found->trailed || std::count_if(found->stars.begin(), found->stars.end(), sure) >= options.max_stars);
    if (enough) return std::move(*found);
  }
  return *look(frame, background, options, Grain::pixel, 0);
}

/// A fit that wandered to another star, or that shares one star's light between two, says nothing about its own.
void take_back_runaways(const std::vector<Star>& before, const FrameProfile& profile, std::vector<Star>& stars) {
  for (std::size_t i = 0; i < before.size(); ++i) {
    const Star& first = before[i];
    const double length = std::hypot(first.trail_x_px, first.trail_y_px);
    const double moved = std::hypot(stars[i].position.x - first.position.x, stars[i].position.y - first.position.y);
    const bool lost = moved > 1.5 * profile.sigma_px + 0.5 + 0.3 * length || stars[i].flux < 0.2 * first.flux;
    if (!stars[i].flags.fit_failed && !first.flags.saturated && lost) stars[i] = first;
  }
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
}

}  // namespace

Result<StarList> find_stars(const Frame& frame, const StarOptions& options) {
  if (Status wrong = options.validate()) {
    wrong->file = frame.path.string();
    return *wrong;
  }
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
  Found found = look_as_needed(frame, background, options);
  list.stars = std::move(found.stars);
  FrameProfile profile;
  profile.sigma_px = without_pixel(found.size.sigma_across_px);
  if (found.trailed) profile.motion = found.trailed->field;
  const auto brighter = [](const Star& a, const Star& b) { return a.flux > b.flux; };
  std::stable_sort(list.stars.begin(), list.stars.end(), brighter);
  if (list.stars.size() > static_cast<std::size_t>(options.max_stars))
    list.stars.resize(static_cast<std::size_t>(options.max_stars));
  const std::vector<Star> before = list.stars;
  fit_stars(frame, background, options, profile, list.stars);
  take_back_runaways(before, profile, list.stars);
  if (!found.trailed) list.stars = without_repeats(list.stars, profile.sigma_px);
  std::stable_sort(list.stars.begin(), list.stars.end(), brighter);
  flag_doubtful(frame, background, profile, options.threads, list.stars);
  summarise(profile, list);
  list.flags = frame_flags(frame, background, list);
  list.trail_field = fit_trail_field(list, options.focal_px, profile.motion);
  return list;
}

}  // namespace polewright
